"""Who notices: clients, minutes without service, sites."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from collector.plan.notice import Counted, count, notice
from inventory.pairs import Area, Member, Pair
from tests.collector.plan.test_making import changed, snapshot, without
from tests.demo_fleet import FIXTURES

PAIR = Pair(
    "quay",
    "Harbour Quay",
    (Member("a", "192.0.2.1", 22), Member("b", "192.0.2.2", 22)),
    "17.12.4",
    areas=(Area("Hall", ("hall-*",)),),
)
COUNTED = Counted({"hall-1": 3, "hall-2": 4, "deck-1": 5, "deck-2": None}, datetime(2027, 2, 5, 21, tzinfo=UTC))


def test_each_batch_is_added_up() -> None:
    told = notice(PAIR, ["hall-1", "hall-2", "deck-1"], [["hall-1", "deck-1"], ["hall-2"]], COUNTED, 240)
    assert [(each.number, each.clients, each.ap_minutes, each.sites) for each in told.batches] == [
        (1, 8, 8, ("Hall", "Harbour Quay")),
        (2, 4, 4, ("Hall",)),
    ]
    assert (told.clients, told.ap_minutes, told.aps) == (12, 12, 3)
    assert "not at the hour of the window" in told.statement


@pytest.mark.parametrize("missing", ["deck-2", "pier-9"])
def test_one_figure_that_is_not_known_leaves_the_sum_unknown(missing: str) -> None:
    told = notice(PAIR, ["hall-1", missing], [["hall-1"], [missing]], COUNTED, None)
    assert [each.clients for each in told.batches] == [3, None]
    assert told.clients is None
    assert told.ap_minutes is None


def test_what_is_not_known_is_said() -> None:
    told = notice(PAIR, ["hall-1"], None, Counted({"hall-1": 3}, None, "the table was lost"), 60)
    assert told.clients is None
    assert "the table was lost" in told.statement


def test_clients_are_added_up_over_both_bands() -> None:
    both = count(snapshot("lantern"))
    assert both.lack == ""
    assert sum(each or 0 for each in both.clients.values()) == _printed("lantern-a")


def _printed(member: str) -> int:
    """The last column of both tables, added up from the files themselves."""
    found = 0
    for band in ("5ghz", "24ghz"):
        lines = (FIXTURES / member / f"show_ap_dot11_{band}_load_info.txt").read_text().splitlines()
        found += sum(int(line.split()[-1]) for line in lines if line.startswith("lantern-"))
    return found


def test_a_radio_without_a_figure_leaves_its_access_point_unknown() -> None:
    def unsaid(_member: str, command: str, text: str) -> str:
        if command != "show ap dot11 5ghz load-info":
            return text
        return "\n".join(
            line[:-2].rstrip().ljust(len(line) - 2) + " -" if line.startswith("lantern-pier-head-01") else line
            for line in text.splitlines()
        )

    told = count(changed("lantern", unsaid))
    assert told.lack == ""
    assert told.clients["lantern-pier-head-01"] is None
    assert told.clients["lantern-pier-foot-02"] is not None


@pytest.mark.parametrize("band", ["5ghz", "24ghz"])
def test_a_lost_band_leaves_clients_unknown(band: str) -> None:
    lost = count(without("lantern", f"show ap dot11 {band} load-info"))
    assert lost.lack
    assert not lost.clients


def test_without_a_known_active_member_nobody_is_heard() -> None:
    assert "which member is active" in count(without("lantern", "show redundancy", "show chassis rmi")).lack
