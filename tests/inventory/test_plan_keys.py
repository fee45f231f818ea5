"""What the inventory and the policy may state for the plan of a window."""

from __future__ import annotations

from pathlib import Path

import pytest

from inventory.opening import open_inventory
from inventory.pairs import Area
from inventory.problems import InventoryError
from tests.inventory.conftest import GROUPS, HOSTS, POLICY

EXTRA = """\
    time_zone: Europe/Oslo
    uplink_mbps: 12.5
    areas:
      - {name: Hall, aps: ["hall-*"], critical: true, uplink_mbps: 2}
      - {name: Deck, aps: ["deck-*", "ramp-*"]}
    shift: harbour
"""


def opened(tmp_path: Path, groups: str = "", policy: str = "") -> object:
    (tmp_path / "hosts.yaml").write_text(HOSTS)
    (tmp_path / "groups.yaml").write_text(GROUPS + groups)
    (tmp_path / "policy.yaml").write_text(POLICY + policy)
    return open_inventory(tmp_path, {})


def test_a_pair_states_what_its_plan_needs(tmp_path: Path) -> None:
    opened(tmp_path, EXTRA)
    (pair,) = open_inventory(tmp_path, {}).pairs
    assert (pair.time_zone, pair.uplink_mbps, pair.shift, pair.mobility_peers) == ("Europe/Oslo", 12.5, "harbour", ())
    assert pair.areas == (Area("Hall", ("hall-*",), True, 2), Area("Deck", ("deck-*", "ramp-*")))


def test_a_pair_states_none_of_it_by_default(tmp_path: Path) -> None:
    opened(tmp_path)
    (pair,) = open_inventory(tmp_path, {}).pairs
    assert (pair.time_zone, pair.uplink_mbps, pair.areas, pair.shift) == (None, None, (), None)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("    time_zone: Europe/Atlantis\n", "quay.data.time_zone"),
        ("    time_zone: ../../etc/passwd\n", "quay.data.time_zone"),
        ("    uplink_mbps: 0\n", "quay.data.uplink_mbps"),
        ("    uplink_mbps: fast\n", "quay.data.uplink_mbps"),
        ("    areas: [{name: Hall}]\n", "quay.data.areas.0.aps"),
        ("    areas: [{name: Hall, aps: []}]\n", "quay.data.areas.0.aps"),
        ("    areas: [{name: Hall, aps: [a], critical: maybe}]\n", "quay.data.areas.0.critical"),
        ("    mobility_peers: [tidewater]\n", "quay.data.mobility_peers"),
        ("    mobility_peers: [quay]\n", "quay.data.mobility_peers"),
    ],
)
def test_a_mistake_is_named_by_its_key(tmp_path: Path, text: str, key: str) -> None:
    with pytest.raises(InventoryError) as caught:
        opened(tmp_path, text)
    assert key in {problem.key.split(".float")[0].split(".int")[0] for problem in caught.value.problems}


@pytest.mark.parametrize(
    ("text", "key", "message"),
    [
        ("timings: {expand: {optimistic: 5, likely: 4, pessimistic: 9}}", "timings.expand", "in order"),
        ("timings: {expand: {optimistic: 5, likely: 5}}", "timings.expand.pessimistic", "missing"),
        ("timings: {copying: {optimistic: 1, likely: 2, pessimistic: 3}}", "timings.copying", "expand"),
        ("way_back: {commit: {optimistic: 1, likely: 2, pessimistic: 3}}", "way_back.commit", "validate"),
        ("copy_mbps: {optimistic: 10, likely: 20, pessimistic: 5}", "copy_mbps", "in order"),
        ("copy_mbps: {optimistic: 10, likely: 5, pessimistic: 0}", "copy_mbps.pessimistic", "equal to 0.001"),
        ("auto_abort_minutes: 0", "auto_abort_minutes", "greater than 0"),
        ("ap_staging: {transfers: 0}", "ap_staging.transfers", "greater than or equal to 1"),
        ("ap_restarts: {site_share_percent: 101}", "ap_restarts.site_share_percent", "less than or equal to 100"),
        ("ap_restarts: {rolling_percents: [5, 0]}", "ap_restarts.rolling_percents.1", "greater than 0"),
        ("procedure: {commit: write it}", "procedure.commit", "must be a list"),
    ],
)
def test_a_mistake_in_the_policy_is_named_by_its_key(tmp_path: Path, text: str, key: str, message: str) -> None:
    with pytest.raises(InventoryError) as caught:
        opened(tmp_path, policy=text + "\n")
    (problem,) = caught.value.problems
    assert problem.key == key
    assert message in problem.message
