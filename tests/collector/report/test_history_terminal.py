"""The stories in a terminal: nothing steers it, nothing is cut off, and colours are for terminals only."""

from __future__ import annotations

import io
import json
import unicodedata
from datetime import date, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from rich.console import Console, RenderableType

from collector.finding import Verdict
from collector.nights.change import Change, Kind
from collector.nights.timeline import FleetNight, Moved, Moves, Story, Stretch
from collector.report import history_document, history_terminal, terminal

NIGHT = date(2027, 1, 31)
ANYTHING = st.text(st.characters(exclude_categories=()), min_size=1, max_size=12)


def printed(shown: RenderableType, width: int = 80) -> str:
    console = Console(file=io.StringIO(), width=width, highlight=False, markup=False, emoji=False)
    console.print(shown)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


def moved(*names: str, pair: str = "quay") -> Moved:
    change = Change(pair, NIGHT, NIGHT - timedelta(days=1), Kind.ACCESS_POINTS, "", "0", str(len(names)), gained=names)
    return Moved(NIGHT, (change,))


@given(ANYTHING, ANYTHING, st.lists(ANYTHING, min_size=1, max_size=4), st.sampled_from((80, 120)))
def test_no_name_steers_the_terminal(pair: str, site: str, names: list[str], width: int) -> None:
    night = moved(*names, pair=pair)
    story = Story(pair, site, (), (Stretch(Verdict.GO, NIGHT, NIGHT, 1), night))
    fleet = FleetNight(NIGHT)
    fleet.moved[pair] += 1
    fleet.subjects[Kind.FINDING, site] += 1
    moves = Moves(pair, site, Verdict.GO, Verdict.GO, (night,))
    for shown in (
        history_terminal.pair(story),
        history_terminal.fleet([fleet]),
        history_terminal.changes([moves], 1, NIGHT, NIGHT),
    ):
        left = {unicodedata.category(character) for character in printed(shown, width).replace("\n", "")}
        assert not left & {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


@given(ANYTHING, ANYTHING, st.lists(ANYTHING, max_size=4))
@example("quay-\udcff", "Pier", [])
@example("quay", "Pier", ["hall-\udcff"])
def test_any_name_can_be_written_as_json(pair: str, site: str, names: list[str]) -> None:
    night = moved(*names, pair=pair)
    for data in (
        history_document.pair(Story(pair, site, (), (night,))),
        history_document.changes([Moves(pair, site, Verdict.GO, Verdict.GO, (night,))], 1, NIGHT, NIGHT),
    ):
        assert json.dumps(data, ensure_ascii=False).encode()


def test_what_looks_like_markup_is_shown_as_it_is() -> None:
    assert "new: [bold red]hall[/]" in printed(
        history_terminal.pair(Story("quay", "Pier", (), (moved("[bold red]hall[/]"),)))
    )


@pytest.mark.parametrize("width", [40, 80, 120])
def test_long_names_are_folded_and_whole(width: int) -> None:
    name = "access-point-" * 12
    told = printed(
        history_terminal.changes([Moves("quay", "Pier", Verdict.GO, Verdict.GO, (moved(name),))], 1, NIGHT, NIGHT),
        width,
    )
    assert name in "".join(told.split())
    assert max(map(len, told.split("\n"))) <= width


def test_what_is_no_terminal_gets_no_colours() -> None:
    file = io.StringIO()
    terminal.console(file).print(
        history_terminal.pair(Story("quay", "Pier", (), (Stretch(Verdict.NO_GO, NIGHT, NIGHT, 1),)))
    )
    assert "\x1b" not in file.getvalue()
    assert "2027-01-31  1 night no-go" in file.getvalue()


def test_colours_follow_what_a_rule_says_and_else_the_direction() -> None:
    def colours(kind: Kind, after: str, worse: bool | None) -> str:
        change = Change("quay", NIGHT, NIGHT - timedelta(days=1), kind, "x", "before", after, worse=worse)
        console = Console(file=io.StringIO(), width=80, force_terminal=True, color_system="standard", highlight=False)
        console.print(history_terminal.pair(Story("quay", "Pier", (), (Moved(NIGHT, (change,)),))))
        assert isinstance(console.file, io.StringIO)
        [line] = [each for each in console.file.getvalue().splitlines() if "was before" in each]
        return line[line.index("\x1b[") + 2 : line.index("m", line.index("\x1b["))]

    assert colours(Kind.FINDING, "block, waived", False) == colours(Kind.VERDICT, "no-go", True) == "1;31"
    assert colours(Kind.FINDING, "unknown (decides nothing)", True) == "1;33"
    assert colours(Kind.FINDING, "pass", False) == "32"
    assert colours(Kind.RELEASE, "17.12.4", None) == "1"
