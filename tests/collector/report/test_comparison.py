"""A comparison as text, as data and as a part of a page."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from collector.comparing.comparison import Comparison, Difference, Kind, Topic
from collector.comparing.figures import Figures
from collector.finding import Evidence
from collector.report import comparison_document, comparison_page, comparison_terminal, comparison_wording, terminal
from tests.collector.comparing.played import after, before, compared, edited
from tests.collector.comparing.test_access_points import without

NASTY = "hall\x1b[31m<b>\u202e[bold]"


def with_differences(*differences: Difference) -> Comparison:
    return replace(compared(before(), after()), differences=differences)


def lost(number: int) -> Difference:
    names = tuple(f"ap-{each:02d}" for each in range(number))
    lines = tuple(f"row {each}" for each in range(20))
    seen = (Evidence("quay-a", "show ap summary", tuple(range(1, 21)), lines),)
    said = f"{number} access points are missing: {', '.join(names[:10])} and {number - 10} more."
    return Difference(Topic.ACCESS_POINTS, Kind.FAULT, said, names, seen, seen, "Look for them.")


def printed(found: Comparison) -> str:
    file = io.StringIO()
    terminal.console(file).print(comparison_terminal.comparison(found))
    return file.getvalue()


@pytest.fixture(autouse=True)
def _eighty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def test_faults_come_first_with_both_sides_lines() -> None:
    order = Difference(Topic.CLOCK, Kind.IN_ORDER, "The clocks are right.")
    odd = Difference(Topic.MODEL, Kind.TO_EXPLAIN, "The model is another.")
    shown = printed(with_differences(order, odd, lost(22)))
    assert shown.index("Faults") < shown.index("To explain") < shown.index("In order")
    assert "What to do: Look for them." in shown
    assert "before, quay-a: show ap summary (lines 1-20)" in shown
    assert shown.count("and 14 more lines with --json") == 2
    assert "| row 5" in shown
    assert "| row 6" not in shown
    assert shown.rstrip().endswith("1 fault, 1 to explain, 1 in order")
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_of_what_is_in_order_a_topic_says_one_thing_and_of_what_is_expected_all() -> None:
    found = [
        Difference(topic, kind, said)
        for topic, kind in ((Topic.FLASH, Kind.IN_ORDER), (Topic.SOFTWARE, Kind.EXPECTED))
        for said in (f"First of {topic}.", f"Second of {topic}.")
    ]
    shown = printed(with_differences(*found))
    assert ("First of flash." in shown, "Second of flash." in shown) == (True, False)
    assert ("First of software." in shown, "Second of software." in shown) == (True, True)


def test_what_steers_a_terminal_or_a_page_is_spelled_out() -> None:
    nasty = Difference(
        Topic.RADIOS,
        Kind.FAULT,
        f"1 radio is down: {NASTY}.",
        (NASTY,) * 11,
        (Evidence("quay-a", "show ap summary", (1,), (NASTY,)),),
    )
    shown, part = printed(with_differences(nasty)), comparison_page.part(with_differences(nasty))
    for text in (shown, part):
        assert "\x1b[31m" not in text
        assert "\u202e" not in text
        assert "[bold]" in text
    assert "<b>\\u202e" not in part
    assert "&lt;b&gt;" in part


def test_the_data_holds_every_name_and_line() -> None:
    data = comparison_document.document(with_differences(lost(22)))
    assert json.loads(json.dumps(data)) == data
    assert (data["schema"], data["standing"], data["upgrade"]) == (1, "faulty", True)
    (told,) = data["differences"]
    assert len(told["names"]) == 22
    assert len(told["before"][0]["lines"]) == 20
    assert [member["release"] for member in data["before"]["members"]] == ["17.9.4a", "17.9.4a"]


def test_a_page_names_all_that_a_sentence_leaves_out() -> None:
    part = comparison_page.part(with_differences(lost(22)))
    assert "ap-21" in part
    assert part.index("<h3>Faults</h3>") < part.index("Look for them.")


def test_a_standing_fits_what_was_compared() -> None:
    found = compared(before(), after())
    assert comparison_wording.standing(found) == "everything came back"
    assert comparison_wording.standing(replace(found, upgrade=False)) == "nothing differs that matters"
    assert comparison_wording.release(replace(found, upgrade=None)).startswith("17.12.4; what they ran before isn't")


def test_a_figure_that_is_not_known_is_not_nought() -> None:
    assert dict(comparison_wording.figures(Figures(None, None, None, 3, 2, 1))) == {
        "Access points": "not known",
        "Clients": "not known",
        "Radios": "not known",
        "WLANs": "1 of 2 enabled",
    }
    data = comparison_document.baseline(compared(before(), before(), "17.9.4a"), "go", Figures(1, 0, 2, 2, 3, 3))
    assert (data["figures"]["clients"], data["lacking"], data["faults"]) == (0, [], [])


def test_the_readme_shows_what_is_printed() -> None:
    text = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    _, shown = text.split("<!-- example: compare -->\n```console\n$ readypair compare quay\n")
    gone = ("quay-car-deck-06", "quay-ramp-one-09")
    new = edited(after(), "quay-b", "show ap summary", lambda said: without(said, *gone))
    lines = [line.rstrip() for line in printed(compared(before(), new)).splitlines()]
    promised = shown.split("```")[0].splitlines()
    assert lines[: len(promised)] == promised


def test_a_baseline_has_one_side() -> None:
    found = compared(before(), before(), "17.9.4a")
    file = io.StringIO()
    taken = replace(found, differences=(lost(22),))
    terminal.console(file).print(comparison_terminal.baseline(taken, "go", Figures(1, 0, 2, 2, 3, 3)))
    shown = file.getvalue()
    assert shown.count("quay-a: show ap summary (lines 1-20)") == 1
    assert "before, " not in shown
    assert "after, " not in shown
