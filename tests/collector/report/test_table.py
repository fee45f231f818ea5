"""The comma-separated values: what stands in which column, and that no cell of it is computed."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Verdict
from collector.ordering import Step, When
from collector.report.table import COLUMNS, harmless, table
from collector.result import PairResult, Result
from tests.collector.report.sample import LATE, RESULT, SHORT, UNHEARD, WAIVER, pair

# OWASP, "CSV Injection": the characters with which a cell must not begin, those of full width among them.
DANGEROUS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"


def rows(result: Result) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table(result), newline="")))


def with_pairs(*pairs: PairResult) -> Result:
    return replace(RESULT, pairs=pairs)


def test_a_row_tells_of_a_pair() -> None:
    step = Step("flash-space", "Free space on pontoon-b.", When.IN_A_WINDOW, True)
    row = rows(with_pairs(replace(pair("pontoon", "North Pontoon", Verdict.NO_GO, SHORT), steps=(step,))))[0]
    assert row == {
        "pair": "pontoon",
        "site": "North Pontoon",
        "verdict": "no-go",
        "target_release": "17.12.4",
        "window_start": "2027-02-06T23:00:00+01:00",
        "window_minutes": "240",
        "member_1": "pontoon-a",
        "member_1_role": "active",
        "member_1_reached": "yes",
        "member_1_release": "17.9.4a",
        "member_2": "pontoon-b",
        "member_2_role": "standby",
        "member_2_reached": "yes",
        "member_2_release": "17.9.4a",
        "blocks": "flash-space",
        "unknown": "",
        "cautions": "",
        "waived": "",
        "to_do_first": "Free space on pontoon-b.",
        "to_do_when": "in a window; may reload a controller or drop clients",
        "judged": "2027-02-06T21:14:45+01:00",
        "in_time": "yes",
    }


def test_the_columns_keep_their_place() -> None:
    # A contract: see the module.
    assert table(RESULT).split("\r\n")[0] == (
        '"pair","site","verdict","target_release","window_start","window_minutes",'
        '"member_1","member_1_role","member_1_reached","member_1_release",'
        '"member_2","member_2_role","member_2_reached","member_2_release",'
        '"blocks","unknown","cautions","waived","to_do_first","to_do_when","judged","in_time"'
    )


def test_a_pair_that_was_not_reached_in_time_is_told() -> None:
    assert [row["pair"] for row in rows(LATE) if row["in_time"] == "no"] == ["tender"]


def test_every_pair_has_its_row_in_the_results_order() -> None:
    assert [row["pair"] for row in rows(RESULT)] == [each.pair.name for each in RESULT.pairs]
    assert {row["pair"]: row["blocks"] for row in rows(RESULT)}["slipway"] == "install-mode flash-space"
    assert {row["pair"]: row["unknown"] for row in rows(RESULT)}["lighter"] == "install-mode pair-state"
    assert {row["pair"]: row["cautions"] for row in rows(RESULT)}["ferry-hq"] == "release-support"


def test_what_is_not_known_is_an_empty_cell() -> None:
    lone = replace(UNHEARD.pairs[0], pair=replace(UNHEARD.pairs[0].pair, window=None))
    row = rows(with_pairs(lone))[0]
    assert (row["window_start"], row["window_minutes"]) == ("", "")
    assert (row["member_2_reached"], row["member_2_release"]) == ("no", "")


def test_a_waived_block_is_no_block() -> None:
    waived = pair("pontoon", "North Pontoon", Verdict.GO, replace(SHORT, waiver=WAIVER))
    row = rows(with_pairs(waived))[0]
    assert (row["blocks"], row["waived"]) == ("", "flash-space")


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-quay", "'-quay"),
        ("@quay", "'@quay"),
        ("\t=1", "'        =1"),
        ("\r=1", "'\\x0d=1"),
        (" =1", "' =1"),
        ("\uff1d1", "'\uff1d1"),
        ("quay", "quay"),
        ("a-b", "a-b"),
        ("", ""),
    ],
)
def test_a_cell_that_could_be_a_formula_is_text(name: str, cell: str) -> None:
    assert harmless(name) == cell


@given(st.text(st.characters(exclude_categories=())))
def test_no_text_begins_a_formula_or_a_row(name: str) -> None:
    hostile = pair("quay", name, Verdict.NO_GO, SHORT)
    read = list(csv.reader(io.StringIO(table(with_pairs(hostile)), newline="")))
    assert [len(row) for row in read] == [len(COLUMNS)] * 2
    assert not [cell for cell in read[1] if cell.startswith(tuple(DANGEROUS))]
    assert table(with_pairs(hostile)).encode("utf-8").count(b"\r\n") == 2
