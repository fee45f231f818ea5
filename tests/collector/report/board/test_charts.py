from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from collector.report.board import charts
from collector.report.board.drawn import Lane, Reading, Span, Standing, Stretch, Trend, lanes
from tests.collector.report.board.sample import LAST, MADE, fleet
from tests.collector.report.sample import HOSTILE

SVG = "{http://www.w3.org/2000/svg}"
FIRST = LAST - timedelta(days=364)


def stretch(first: int, last: int, standing: Standing, *rules: str) -> Stretch:
    return Stretch(Span(FIRST + timedelta(days=first), FIRST + timedelta(days=last)), standing, rules)


YEAR = (
    stretch(0, 99, Standing.GO),
    stretch(100, 149, Standing.NO_GO, "flash-space", HOSTILE),
    stretch(150, 199, Standing.UNDECIDED, "pair-state"),
    stretch(200, 209, Standing.NOT_ASKED),
    stretch(210, 364, Standing.GO),
)


def quay() -> tuple[tuple[Trend, ...], Span]:
    from collector.report.board.site import frame_of, sheet_of

    store = fleet()
    found = sheet_of(store.store, "quay", frame_of(store.store, MADE))
    assert found is not None
    assert found.flash_shown is not None
    return found.trends, found.flash_shown


def history() -> bytes:
    return charts.history(lanes(YEAR), Span(FIRST, LAST))


def flash() -> bytes:
    return charts.flash(*quay())


def texts(picture: bytes) -> list[str]:
    return [text.text or "" for text in ElementTree.fromstring(picture).iter(f"{SVG}text")]


def test_every_lane_has_its_name() -> None:
    told = texts(history())
    assert told[-7:] == ["go", "not asked", "undecided", "no-go", f"{HOSTILE[:19]}…", "flash-space", "pair-state"]


def test_the_bars_lie_where_the_nights_do() -> None:
    nights = (Span(FIRST, FIRST + timedelta(days=181)), Span(LAST, LAST))
    picture = charts.history((Lane("go", Standing.GO, nights),), Span(FIRST, LAST))
    bars = [path for path in ElementTree.fromstring(picture).iter(f"{SVG}path") if "--go" in path.get("style", "")]
    area = charts.WIDTH - 126 - 24
    for bar, (left, right) in zip(bars, ((0, 182), (364, 365)), strict=True):
        xs = [float(x) for x in re.findall(r"[ML] ([\d.]+) ", bar.get("d", ""))]
        assert min(xs) == pytest.approx(126 + area * left / 365, abs=0.01)
        assert max(xs) == pytest.approx(126 + area * right / 365, abs=0.01)


def test_the_flash_names_its_members_and_what_is_needed() -> None:
    told = texts(flash())
    assert {"quay-a", "quay-b", "what the images need", "18 GB"} <= set(told)


def test_members_that_need_different_room_have_a_line_each() -> None:
    first, second = quay()[0]
    other = replace(second, readings=tuple(replace(each, needed=2_500_000_000) for each in second.readings))
    told = texts(charts.flash((first, other), quay()[1]))
    assert {"what the images need on quay-a", "what the images need on quay-b"} <= set(told)


def test_what_is_needed_is_drawn_as_steps() -> None:
    nights = [FIRST + timedelta(days=number) for number in range(6)]
    readings = tuple(Reading(night, 9 * 10**9, (4 if number < 3 else 2) * 10**9) for number, night in enumerate(nights))
    picture = charts.flash((Trend("quay-a", readings),), Span(nights[0], nights[-1]))
    paths = [each for each in ElementTree.fromstring(picture).iter(f"{SVG}path") if "--no-go" in each.get("style", "")]
    (line,) = (each.get("d", "") for each in paths if "dasharray" not in each.get("style", ""))
    points = [(float(x), float(y)) for x, y in re.findall(r"[ML] ([\d.]+) ([\d.]+)", line)]
    assert [x for x, _ in points] == pytest.approx([60, 398, 398, 736], abs=0.01)
    assert points[0][1] == points[1][1] < points[2][1] == points[3][1]


def test_a_night_that_is_not_known_of_one_member_says_nothing_twice() -> None:
    first, second = quay()[0]
    known = tuple(replace(each, needed=None) if number == 3 else each for number, each in enumerate(second.readings))
    assert texts(charts.flash((first, replace(second, readings=known)), quay()[1])).count("what the images need") == 1


def test_a_night_that_is_not_known_is_a_gap() -> None:
    nights = [FIRST + timedelta(days=number) for number in range(9)]
    known = tuple(Reading(night, None if number == 4 else 5 * 10**9, None) for number, night in enumerate(nights))
    picture = charts.flash((Trend("quay-a", known),), Span(nights[0], nights[-1]))
    lines = [
        each.get("d", "")
        for each in ElementTree.fromstring(picture).iter(f"{SVG}path")
        if "--link" in each.get("style", "")
    ]
    assert max(line.count("M") for line in lines) == 2


def test_flash_of_which_nothing_is_known_is_drawn_as_nothing() -> None:
    picture = charts.flash(
        (Trend("quay-a", (Reading(FIRST, None, None), Reading(LAST, None, None))),), Span(FIRST, LAST)
    )
    assert ElementTree.fromstring(picture).tag == f"{SVG}svg"


@pytest.mark.parametrize("picture", [history, flash], ids=["history", "flash"])
def test_every_colour_follows_the_readers_choice_and_nothing_is_fetched(picture: object) -> None:
    drawn = picture().decode()  # type: ignore[operator]
    style, _, rest = drawn.partition("</style>")
    assert "prefers-color-scheme: dark" in style
    assert re.findall(r"(?:fill|stroke): (?!none|var\(--)[^;\"]*", rest) == []
    assert set(re.findall(r"var\((--[a-z-]+)\)", rest)) <= set(re.findall(r"(--[a-z-]+):", style))
    elements = list(ElementTree.fromstring(drawn).iter())
    links = [value for each in elements for key, value in each.items() if key.endswith(("href", "src"))]
    assert [link for link in links if not link.startswith("#")] == []
    assert f"{SVG}script" not in {each.tag for each in elements}


@pytest.mark.parametrize("name", ["$x^2$", "$", "a_b{c}", "\\frac", "<b>&amp;", "x" * 400, "渡船"])
def test_any_name_is_drawn_as_it_stands(name: str) -> None:
    picture = charts.history((Lane(name, None, (Span(FIRST, LAST),)),), Span(FIRST, LAST))
    assert texts(picture)[-1] == (name if len(name) <= 20 else f"{name[:19]}…")
    readings = tuple(Reading(FIRST + timedelta(days=number), 10**9, 10**9) for number in range(9))
    assert ElementTree.fromstring(charts.flash((Trend(name, readings),), Span(FIRST, LAST))) is not None


@pytest.mark.parametrize("days", [1, 2, 9, 10, 31, 62, 63, 100, 365, 500])
@pytest.mark.parametrize("first", [date(2027, 1, 1), date(2026, 12, 31), date(2028, 2, 29)])
def test_the_axis_has_labels_few_enough_to_be_read(first: date, days: int) -> None:
    last = first + timedelta(days=days - 1)
    told = texts(charts.history((Lane("go", Standing.GO, (Span(first, last),)),), Span(first, last)))[:-1]
    assert 1 <= len(told) <= 9
    assert all(one != other for one, other in pairwise(told))


@pytest.mark.parametrize("size", [999, 10**6, 123 * 10**6, 10**9, 3 * 10**9, 26 * 10**9, 10**13, 10**16])
def test_any_size_has_round_figures_beside_it(size: int) -> None:
    readings = (Reading(FIRST, size, size // 2), Reading(LAST, size, None))
    picture = charts.flash((Trend("quay-a", readings),), Span(FIRST, LAST))
    told = [text for text in texts(picture) if re.fullmatch(r"0|[\d.]+ [kMG]B|\d+ bytes?", text)]
    assert 2 <= len(told) <= 7
    assert len(told) == len(set(told))


def test_the_same_nights_give_the_same_bytes_in_another_process() -> None:
    code = "import sys; from tests.collector.report.board import test_charts as t; sys.stdout.buffer.write(t.history())"
    other = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout
    assert other == history()


def test_one_picture_leaves_nothing_in_the_next() -> None:
    alone = history()
    flash()
    assert history() == alone
