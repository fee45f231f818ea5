"""From neighbour reports to batches."""

from __future__ import annotations

from collector.plan.restarts import NEIGHBOURS, restarts_of
from collector.plan.staging import known_aps
from collector.snapshot import Snapshot
from parsers.facts.access_points import ApSummary
from tests.collector.plan.test_making import changed, policy, snapshot, without
from tests.demo_fleet import fleet


def by_radio(_member: str, command: str, text: str) -> str:
    """The neighbour reports with radios' addresses in place of names, as of the second network of each radio."""
    if command != NEIGHBOURS:
        return text
    facts = snapshot("lantern").members[0].read("show ap summary", ApSummary).facts
    assert facts is not None
    for ap in facts.aps:
        assert ap.radio_mac is not None
        last = f"{int(ap.radio_mac[-1], 16) + 1:x}"
        text = text.replace(f"  {ap.name} ", f"  {f'{ap.radio_mac[:-1]}{last}':{len(ap.name)}} ")
    return text


def restarts(given: Snapshot) -> object:
    return restarts_of(given, fleet().policy, known_aps(given)).batches


def test_an_address_stands_for_its_access_point() -> None:
    told = changed("lantern", by_radio)
    texts = [each.members[0].captures[NEIGHBOURS].text for each in (told, snapshot("lantern"))]
    assert texts[0] != texts[1]
    assert restarts(told) == restarts(snapshot("lantern"))


def test_no_batch_takes_more_than_the_share_of_a_site() -> None:
    given = snapshot("quay")
    for share in (10, 25, 100):
        table = fleet().policy.ap_restarts.model_copy(update={"site_share_percent": share})
        batches = restarts_of(given, policy(ap_restarts=table), known_aps(given)).batches
        assert batches is not None
        assert max(map(len, batches.batches)) <= max(3, 24 * share / 100)
        assert sum(map(len, batches.batches)) == 24


def test_a_lost_table_of_access_points_leaves_no_batches() -> None:
    given = without("lantern", "show ap summary")
    found = restarts_of(given, fleet().policy, known_aps(given))
    assert found.batches is None
    assert "show ap summary" in found.lack
    assert found.rounds is None, "it isn't known how many there are, nor what they hold"
