"""The text file for Prometheus: what it says, that it parses, and that no name breaks it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from prometheus_client.parser import text_string_to_metric_families

from collector.finding import Verdict
from collector.nights.night import Room
from collector.report.metrics import last_success, metrics
from collector.report.visible import encodable
from collector.result import Result
from tests.collector.report.sample import LATE, RESULT, RULES, SHORT, WAIVER, pair

ROOMS = {
    "pontoon": (Room("pontoon-a", 19_503_411_200, 26_458_804_224, 3_750_000_000), Room("pontoon-b", None, None, None)),
    "quay": (Room("quay-a", 0, 26_458_804_224, None),),
}


class Read(dict[str, dict[tuple[tuple[str, str], ...], float]]):
    """The samples of a file by their names and labels."""

    def __init__(self, text: bytes) -> None:
        super().__init__()
        for family in text_string_to_metric_families(text.decode("utf-8")):
            for sample in family.samples:
                self.setdefault(sample.name, {})[tuple(sorted(sample.labels.items()))] = sample.value

    def of(self, name: str, **labels: str) -> float | None:
        return self.get(name, {}).get(tuple(sorted(labels.items())))


def read(
    result: Result = RESULT,
    rooms: Mapping[str, Sequence[Room]] = ROOMS,
    success: float | None = 1.5e9,
    undelivered: int = 0,
) -> Read:
    return Read(metrics(result, rooms, last_success=success, undelivered=undelivered))


def test_a_pairs_verdict_is_one_of_three() -> None:
    found = read()
    for each in RESULT.pairs:
        labels = {"pair": each.pair.name, "site": each.pair.site}
        told = {verdict: found.of("readypair_pair_verdict", verdict=verdict.value, **labels) for verdict in Verdict}
        assert told == {verdict: float(each.verdict is verdict) for verdict in Verdict}


def test_every_rule_has_its_number_of_blocked_and_unknown_pairs() -> None:
    found = read()
    assert found.of("readypair_pair_blocks", rule="flash-space") == 2
    assert found.of("readypair_pair_blocks", rule="install-mode") == 1
    assert found.of("readypair_pair_unknowns", rule="install-mode") == 1
    assert {labels[0][1] for labels in found["readypair_pair_blocks"]} == {rule.id for rule in RULES}
    assert found.of("readypair_pair_blocks", rule="boot-variable") == 0


def test_a_waived_block_blocks_no_pair() -> None:
    waived = pair("pontoon", "North Pontoon", Verdict.GO, replace(SHORT, waiver=WAIVER))
    assert read(replace(RESULT, pairs=(waived,))).of("readypair_pair_blocks", rule="flash-space") == 0


def test_flash_is_told_where_it_is_known() -> None:
    found = read()
    assert found["readypair_flash_free_bytes"] == {
        (("member", "pontoon-a"), ("pair", "pontoon")): 19_503_411_200,
        (("member", "quay-a"), ("pair", "quay")): 0,
    }
    assert found["readypair_flash_needed_bytes"] == {(("member", "pontoon-a"), ("pair", "pontoon")): 3_750_000_000}


def test_windows_are_told_where_there_are_any() -> None:
    found = read()
    labels = {"pair": "quay", "site": "Harbour Quay"}
    begins = datetime.fromisoformat("2027-02-06T23:00:00+01:00").timestamp()
    assert found.of("readypair_pair_window_start_timestamp_seconds", **labels) == begins
    without = replace(RESULT, pairs=(replace(RESULT.pairs[0], pair=replace(RESULT.pairs[0].pair, window=None)),))
    assert "readypair_pair_window_start_timestamp_seconds" not in read(without)


def test_the_sweep_itself_is_told() -> None:
    found = read(LATE, undelivered=2)
    assert found.of("readypair_sweep_duration_seconds") == 42
    # Of a pair that nobody came to ask it isn't known whether it would have answered.
    assert found.of("readypair_pairs_unreached") == 1
    assert found.of("readypair_pairs_not_in_time") == 1
    assert found.of("readypair_notifications_undelivered") == 2
    assert found.of("readypair_last_success_timestamp_seconds") == 1.5e9


def test_a_success_that_never_was_is_not_told() -> None:
    assert "readypair_last_success_timestamp_seconds" not in read(success=None)


def test_the_last_success_is_found_again() -> None:
    # To the microsecond: a rounded time would move from night to night.
    assert last_success(metrics(RESULT, {}, last_success=1_790_000_000.123456).decode()) == 1_790_000_000.123456


@pytest.mark.parametrize("text", ["", "readypair_last_success_timestamp_seconds", "{}{", "a 1\n", "\0" * 9])
def test_what_is_no_such_file_tells_no_success(text: str) -> None:
    assert last_success(text) is None


def test_names_and_help_are_as_prometheus_asks() -> None:
    # Prometheus, "Metric and label naming", and promtool's checks by it: one prefix, base units, no type in a name.
    families = list(text_string_to_metric_families(metrics(RESULT, ROOMS, last_success=1.0).decode()))
    assert families
    for family in families:
        assert family.name.startswith("readypair_")
        assert family.type == "gauge"
        assert family.documentation.endswith(".")
        assert not family.name.endswith(("_total", "_count", "_sum", "_bucket", "_info", "_gauge"))
        assert not {"milliseconds", "minutes", "kilobytes", "megabytes"} & set(family.name.split("_"))
        for sample in family.samples:
            assert sample.name == family.name
            assert sample.timestamp is None


@example("quay\udcff", "pier\ud800")
@given(st.text(st.characters(exclude_categories=())), st.text(st.characters(exclude_categories=())))
def test_no_name_breaks_it(name: str, site: str) -> None:
    result = replace(RESULT, pairs=(pair(name, site, Verdict.GO),))
    text = metrics(result, {name: (Room(site, 1, 2, 3),)}, last_success=None)
    # Lines end where the format says, not where Python sees line ends besides.
    lines = text.decode("utf-8").split("\n")
    assert all(line == "" or line.startswith(("#", "readypair_")) for line in lines)
    found = Read(text)
    assert found.of("readypair_flash_free_bytes", pair=encodable(name), member=encodable(site)) == 1
    assert found.of("readypair_pair_verdict", pair=encodable(name), site=encodable(site), verdict="go") == 1
