"""Loading the image onto the access points in advance: how many bytes over which line, and how long that takes.

Whether an access point holds the image already is told by the rule `ap-staging`. Rates are in 10^6 bit/s, with decimal
prefixes as in IEC 80000-13, eight bits to the byte; protocol overhead isn't counted, `uplink_percent` leaves room.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from heapq import heapify, heapreplace

from collector.plan.plan import Estimate, SiteStaging
from collector.plan.stages import seconds
from collector.rules import ap_staging
from collector.rules.ap_tables import lost, tellers
from collector.snapshot import Snapshot
from inventory.pairs import Area, Pair
from inventory.policy import ApStaging, Policy
from parsers.facts.access_points import ApImage, ApSummary

_STAGED, _OPEN, _FAILING = "staged", "open", ("failed", "unsupported")


@dataclass(frozen=True)
class KnownAp:
    """One access point: its name and model, its radio's MAC address, and what it holds of the target image."""

    name: str
    model: str | None
    radio_mac: str | None
    holds: str

    @property
    def held(self) -> bool:
        """Whether it is known to hold the target image."""
        return self.holds == _STAGED

    @property
    def open(self) -> bool:
        """Whether it can't be told if it does."""
        return self.holds == _OPEN

    @property
    def failing(self) -> bool:
        """Whether it tried to load it and failed, or can't."""
        return self.holds in _FAILING


@dataclass(frozen=True)
class Known:
    """The access points that the active one knows; `lack` says why they may not be all; empty if they are."""

    aps: tuple[KnownAp, ...]
    lack: str = ""


def known_aps(snapshot: Snapshot) -> Known:
    """Every access point in the active one's tables; one that the table of images doesn't list holds nothing yet."""
    heard, parts = tellers(snapshot, "which access points there are")
    if parts or len(heard) != 1:
        return Known((), "it isn't certain which member is active")
    member = heard[0]
    images, summary = member.read("show ap image", ApImage), member.read("show ap summary", ApSummary)
    lacks = [f"`{each.command}` on {member.name}: {each.problem}" for each in (images, summary) if each.facts is None]
    lacks += [
        reason for reason in (lost(member, images, "access points"), lost(member, summary, "access points")) if reason
    ]
    states = ap_staging.states(images.facts.aps, snapshot, member) if images.facts is not None else {}
    rows = {row.name: row for row in (summary.facts.aps if summary.facts is not None else ())}
    # Without the table of images nothing is known of what anyone holds; with it, one that isn't listed holds nothing.
    absent = "pending" if images.facts is not None else _OPEN
    names = dict.fromkeys([*rows, *states])
    aps = [
        KnownAp(
            name,
            rows[name].model if name in rows else None,
            rows[name].radio_mac if name in rows else None,
            states.get(name, absent),
        )
        for name in names
    ]
    return Known(tuple(aps), "; ".join(lacks))


def area_of(pair: Pair, ap: str) -> Area | None:
    """The area that an access point belongs to: the first one with a pattern for its name."""
    return next((area for area in pair.areas if any(fnmatchcase(ap, pattern) for pattern in area.aps)), None)


def site_of(pair: Pair, ap: str) -> str:
    """The area's name, else the pair's site."""
    area = area_of(pair, ap)
    return area.name if area is not None else pair.site


def image_bytes(model: str | None, policy: Policy) -> int | None:
    """The size of the image for a model: the model's own, else the policy's for all; None where neither is stated."""
    row = policy.access_points.get(model) if model is not None else None
    return row.image_bytes if row is not None and row.image_bytes is not None else policy.ap_staging.image_bytes


def too_small(aps: Iterable[KnownAp], policy: Policy) -> dict[str, list[str]]:
    """The access points whose model's flash has less room than its image needs, by model."""
    found: dict[str, list[str]] = {}
    for ap in aps:
        row = policy.access_points.get(ap.model) if ap.model is not None else None
        size = image_bytes(ap.model, policy)
        if row is not None and row.flash_bytes is not None and size is not None and size > row.flash_bytes:
            found.setdefault(str(ap.model), []).append(ap.name)
    return found


def behind_uplinks(pair: Pair, aps: Sequence[KnownAp], policy: Policy) -> tuple[SiteStaging, ...]:
    """What is to be loaded over each uplink: areas without a line of their own share the pair's site's."""
    lines: dict[tuple[str, float | None], list[KnownAp]] = {}
    for ap in aps:
        area = area_of(pair, ap.name)
        own = area.uplink_mbps if area is not None else None
        key = (area.name, own) if area is not None and own is not None else (pair.site, pair.uplink_mbps)
        lines.setdefault(key, []).append(ap)
    loading = sum(1 for members in lines.values() if any(not ap.held for ap in members))
    return tuple(_line(site, uplink, members, policy, loading) for (site, uplink), members in lines.items())


def _line(site: str, uplink: float | None, aps: Sequence[KnownAp], policy: Policy, loading: int) -> SiteStaging:
    sizes = [image_bytes(ap.model, policy) for ap in aps if not ap.held]
    known = [size for size in sizes if size is not None]
    size = sum(known) if len(known) == len(sizes) else None
    share = policy.ap_staging.uplink_percent
    rate = _rate(uplink, share.likely if share is not None else None, len(sizes), policy.ap_staging, loading)
    takes = seconds(size, rate) if size is not None and rate is not None else 0.0 if not sizes else None
    return SiteStaging(site, len(aps), len(aps) - len(sizes), len(sizes), size, uplink, rate if sizes else None, takes)


def _rate(uplink: float | None, percent: float | None, to_load: int, staging: ApStaging, loading: int) -> float | None:
    """The rate over one uplink: its own share, or less where too few load at a time to fill it.

    None where any of its figures isn't stated: a whole line and no limit to a transfer would be the best case.
    """
    if uplink is None or percent is None or staging.transfers is None or staging.transfer_mbps is None:
        return None
    at_a_time = min(max(1, staging.transfers // max(1, loading)), max(1, to_load))
    return min(uplink * percent / 100, at_a_time * staging.transfer_mbps)


def estimate(lines: Sequence[SiteStaging], policy: Policy) -> Estimate | None:
    """How long all uplinks together take; None where a size, an uplink or a figure of the policy isn't known."""
    percents = policy.ap_staging.uplink_percent
    shares = (None,) * 3 if percents is None else (percents.optimistic, percents.likely, percents.pessimistic)
    found = [_all_lines(lines, percent, policy.ap_staging) for percent in shares]
    first, second, third = found
    return None if first is None or second is None or third is None else Estimate(first, second, third)


def _all_lines(lines: Sequence[SiteStaging], percent: float | None, staging: ApStaging) -> float | None:
    waiting = [line for line in lines if line.to_load]
    takes = []
    for line in waiting:
        rate = _rate(line.uplink_mbps, percent, line.to_load, staging, len(waiting))
        if rate is None or line.bytes is None:
            return None
        takes.append(seconds(line.bytes, rate))
    return together(takes, staging.transfers or 1)


def together(takes: Sequence[float], at_a_time: int) -> float:
    """When the last of several lines is done, with no more than so many at work at a time, the longest ones first.

    That order ends at most a third later than the best one does (SIAM Journal on Applied Mathematics 17(2), 1969).
    """
    ends = [0.0] * max(1, min(at_a_time, len(takes)))
    heapify(ends)
    for each in sorted(takes, reverse=True):
        heapreplace(ends, ends[0] + each)
    return max(ends)


def missing(lines: Sequence[SiteStaging], aps: Mapping[str, KnownAp], policy: Policy) -> tuple[str, ...]:
    """What would be needed for an estimate, as clauses."""
    found = []
    if policy.ap_staging.transfers is None:
        found.append("`ap_staging.transfers` in the policy: how many access points load at a time")
    if policy.ap_staging.transfer_mbps is None:
        found.append("`ap_staging.transfer_mbps` in the policy: what one access point takes at most")
    if policy.ap_staging.uplink_percent is None:
        found.append("`ap_staging.uplink_percent` in the policy: how much of an uplink goes into it")
    without = sorted({ap.model or "?" for ap in aps.values() if not ap.held and image_bytes(ap.model, policy) is None})
    if without:
        found.append(f"`ap_staging.image_bytes` in the policy, or `image_bytes` of the models {', '.join(without)}")
    found += [
        f"`uplink_mbps` of {line.site} in the inventory" for line in lines if line.to_load and line.uplink_mbps is None
    ]
    return tuple(found)
