"""Cutting rows where the heading's columns begin."""

from __future__ import annotations

from parsers import columns

TITLES = {"AP Name": "name", "Slots": "slots", "AP Model": "model", "State": "state"}
HEADING = "AP Name     Slots AP Model   New  Title  State"


def test_columns_begin_where_their_titles_do_in_any_case_and_with_a_single_blank_between() -> None:
    assert columns.of(HEADING.upper(), TITLES) == columns.of(HEADING, TITLES)
    found = columns.of(HEADING, TITLES)
    assert found.names == ("name", "slots", "model", "?", "?", "state")
    assert found.starts == (0, 12, 18, 29, 34, 41)
    assert "slots" in found
    assert found.before("slots", "state")
    assert not found.before("state", "name")


def test_cells_may_hold_blanks_or_nothing_and_the_row_may_end_early() -> None:
    found = columns.of("AP Name     Slots AP Model   State", TITLES)
    assert found.cut("Ramp One    2                Registered") == {
        "name": "Ramp One",
        "slots": "2",
        "model": "",
        "state": "Registered",
    }
    assert found.cut("Ramp") == {"name": "Ramp", "slots": "", "model": "", "state": ""}


def test_a_row_that_does_not_keep_to_the_columns_is_not_cut() -> None:
    found = columns.of("AP Name     Slots AP Model   State", TITLES)
    assert found.cut("Ramp Number One Upper Deck  2     WX-AP20    Registered") is None
    assert found.cut("            2     WX-AP20-LONGER Registered") is None


def test_a_title_is_known_only_as_a_whole_word() -> None:
    assert columns.of("AP Names  Slots", TITLES).names == ("?", "?", "slots")
