"""Loading access points in advance: sizes, lines and hours, worked by hand."""

from __future__ import annotations

from typing import Any

import pytest

from collector.plan.plan import Estimate
from collector.plan.staging import KnownAp, area_of, behind_uplinks, estimate, missing, site_of, together, too_small
from inventory.pairs import Area, Member, Pair
from inventory.policy import AccessPointModel, ApStaging, Policy, Rates

PLAIN = Policy.model_validate({"hardware": {}, "trains": {}, "minimum_release": "17.3.1", "upgrade_paths": []})
MEMBERS = (Member("a", "192.0.2.1", 22), Member("b", "192.0.2.2", 22))


def pair(uplink: float | None = 10, *areas: Area) -> Pair:
    return Pair("quay", "Harbour Quay", MEMBERS, "17.12.4", uplink_mbps=uplink, areas=areas)


def aps(number: int, prefix: str = "hall", holds: str = "pending", model: str = "WX-AP20") -> list[KnownAp]:
    return [KnownAp(f"{prefix}-{each:02}", model, None, holds) for each in range(number)]


WHOLE = Rates(optimistic=100, likely=100, pessimistic=100)


def loading(**stated: Any) -> ApStaging:
    """The policy's figures: a line that nobody else uses and no limit worth the name, where nothing else is stated."""
    return ApStaging.model_validate({"transfer_mbps": 1000, "uplink_percent": WHOLE} | stated)


def policy(staging: ApStaging, **models: AccessPointModel) -> Policy:
    return PLAIN.model_copy(update={"ap_staging": staging, "access_points": models})


def test_one_line_is_worked_by_hand() -> None:
    """IEC 80000-13: 10 of 64 * 10^6 bytes are 5.12 * 10^9 bit; over 10 * 10^6 bit/s they take 512 s."""
    stated = policy(loading(transfers=25, image_bytes=64_000_000))
    (line,) = behind_uplinks(pair(), [*aps(10), *aps(4, "deck", "staged")], stated)
    assert (line.site, line.aps, line.held, line.to_load, line.bytes) == ("Harbour Quay", 14, 4, 10, 640_000_000)
    assert line.seconds == 512
    assert estimate([line], stated) == Estimate(512, 512, 512)


def test_a_part_of_the_uplink_takes_longer() -> None:
    shares = Rates(optimistic=100, likely=80, pessimistic=50)
    stated = policy(loading(transfers=25, image_bytes=64_000_000, uplink_percent=shares))
    lines = behind_uplinks(pair(), aps(10), stated)
    assert estimate(lines, stated) == Estimate(512, 640, 1024)
    assert (lines[0].rate_mbps, lines[0].seconds) == (8, 640), "the likely one"


def test_too_few_transfers_at_a_time_leave_the_line_idle() -> None:
    """2 at a time at 1 Mbit/s each: 5.12 * 10^9 bit over 2 * 10^6 bit/s take 2,560 s."""
    stated = policy(loading(transfers=2, transfer_mbps=1, image_bytes=64_000_000))
    assert estimate(behind_uplinks(pair(), aps(10), stated), stated) == Estimate(2560, 2560, 2560)
    one = policy(loading(transfers=25, transfer_mbps=1, image_bytes=64_000_000))
    assert estimate(behind_uplinks(pair(), aps(1), one), one) == Estimate(512, 512, 512), "one alone fills no line"


def test_areas_with_a_line_of_their_own_load_beside_the_site() -> None:
    far = Area("Far Pier", ("pier-*",), uplink_mbps=1)
    near = Area("Near Hall", ("hall-*",))
    stated = policy(loading(transfers=25, image_bytes=64_000_000))
    lines = behind_uplinks(pair(10, far, near), [*aps(2, "pier"), *aps(10), *aps(10, "deck")], stated)
    assert [(line.site, line.to_load, line.seconds) for line in lines] == [
        ("Far Pier", 2, 1024),
        ("Harbour Quay", 20, 1024),
    ]
    assert estimate(lines, stated) == Estimate(1024, 1024, 1024)
    single = policy(loading(transfers=1, image_bytes=64_000_000))
    assert estimate(lines, single) == Estimate(2048, 2048, 2048), "one transfer at a time: one line after the other"


def test_lines_are_shared_out_the_longest_first() -> None:
    assert together([3, 3, 2, 2, 2], 2) == 7, "3 + 2 + 2 beside 3 + 2"
    assert together([5, 1], 25) == 5
    assert together([], 3) == 0


def test_a_models_own_size_counts_before_the_one_for_all() -> None:
    stated = policy(loading(transfers=25, image_bytes=64_000_000), big=AccessPointModel(image_bytes=80_000_000))
    (line,) = behind_uplinks(pair(), [*aps(1), *aps(1, "deck", model="big")], stated)
    assert line.bytes == 144_000_000


@pytest.mark.parametrize(
    ("uplink", "staging", "lack"),
    [
        (None, loading(transfers=25, image_bytes=1), "`uplink_mbps` of Harbour Quay in the inventory"),
        (10, loading(image_bytes=1), "`ap_staging.transfers` in the policy: how many access points load at a time"),
        (
            10,
            loading(transfers=2, image_bytes=1, transfer_mbps=None),
            "`ap_staging.transfer_mbps` in the policy: what one access point takes at most",
        ),
        (
            10,
            loading(transfers=2, image_bytes=1, uplink_percent=None),
            "`ap_staging.uplink_percent` in the policy: how much of an uplink goes into it",
        ),
        (10, loading(transfers=2), "`ap_staging.image_bytes` in the policy, or `image_bytes` of the models WX-AP20"),
    ],
)
def test_what_is_not_stated_is_not_guessed(uplink: float | None, staging: ApStaging, lack: str) -> None:
    stated = policy(staging)
    lines = behind_uplinks(pair(uplink), aps(3), stated)
    assert estimate(lines, stated) is None
    assert lines[0].seconds is None
    assert missing(lines, {ap.name: ap for ap in aps(3)}, stated) == (lack,)


def test_nothing_to_load_takes_no_time_whatever_is_stated() -> None:
    lines = behind_uplinks(pair(None), aps(3, holds="staged"), PLAIN)
    assert estimate(lines, PLAIN) == Estimate(0, 0, 0)


def test_one_that_can_not_be_told_counts_as_holding_nothing() -> None:
    (line,) = behind_uplinks(pair(), [*aps(2, holds="open"), *aps(1, "deck", "failed")], PLAIN)
    assert (line.held, line.to_load) == (0, 3)


def test_a_flash_that_is_too_small_is_named_by_its_model() -> None:
    models = {
        "small": AccessPointModel(image_bytes=80, flash_bytes=79),
        "exact": AccessPointModel(image_bytes=80, flash_bytes=80),
        "unsaid": AccessPointModel(image_bytes=80),
    }
    found = too_small([ap for model in models for ap in aps(1, model, model=model)], policy(loading(), **models))
    assert found == {"small": ["small-00"]}


def test_the_first_area_with_a_pattern_counts() -> None:
    first, second = Area("First", ("hall-0[0-4]", "deck-*")), Area("Second", ("hall-*",))
    areas = pair(10, first, second)
    assert [site_of(areas, name) for name in ("hall-03", "hall-07", "deck-1", "pier-1")] == [
        "First",
        "Second",
        "First",
        "Harbour Quay",
    ]
    assert area_of(areas, "pier-1") is None
