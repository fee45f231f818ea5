"""The access points: is everyone back, by name, and on the controllers' image?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from collector.comparing.comparison import Difference, Kind, Topic
from collector.comparing.identity import Matched, mac, match
from collector.comparing.sides import Sides, active, many, some
from collector.finding import Evidence
from collector.rules.ap_tables import lost, rows
from collector.rules.sessions import lack
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from parsers.facts.access_points import AccessPoint, ApImage, ApImageRow, ApSummary
from parsers.facts.joining import JoinSummary
from parsers.release import Release

_SUMMARY, _IMAGE, _JOINS = "show ap summary", "show ap image", "show wireless stats ap join summary"
_WHAT = "access point"
_LOOK = (
    "Find out what keeps them away (power, the way to the controller, a certificate, an image that they couldn't load) "
    "before the window ends. Restarting one drops its clients: agree it with the site and, where lives depend on the "
    "network, with the people who run the ward."
)
_IMAGES = "Find out why they didn't take the image, and have them load it by the vendor's procedure."


@dataclass(frozen=True)
class Table:
    """The active member's table of access points; `problem` says why it isn't known whole, and is empty where it is."""

    aps: tuple[AccessPoint, ...]
    reading: Reading[ApSummary] | None
    problem: str = ""

    def lines(self, aps: Sequence[AccessPoint]) -> tuple[Evidence, ...]:
        """The controller's count and the rows of the first of these."""
        return rows(self.reading, (ap.at for ap in aps), "count") if self.reading is not None else ()


def table(snapshot: Snapshot) -> Table:
    """The table of a side."""
    member = active(snapshot)
    if member is None:
        return Table((), None, "it isn't certain which member is active")
    reading = member.read(_SUMMARY, ApSummary)
    if reading.facts is None:
        return Table((), reading, lack(member, reading))
    problem = lost(member, reading, "access points")
    if not problem and reading.facts.count is None and not reading.whole:
        problem = f"nobody knows whether `{_SUMMARY}` on {member.name} is whole"
    return Table(reading.facts.aps, reading, problem)


def access_points(sides: Sides) -> Iterator[Difference]:
    """Everyone who was there before has to be there again, registered."""
    then, now = table(sides.before), table(sides.after)
    for side, words in ((then, "before"), (now, "after")):
        if side.problem:
            said = f"which access points there were {words} isn't known: {side.problem}"
            yield sides.said(Topic.ACCESS_POINTS, Kind.UNKNOWN, said, after=now.lines(()), before=then.lines(()))
    if then.problem or now.problem:
        return
    found = match(then.aps, now.aps)
    troubles = [
        *_missing(sides, found, then, now),
        *_replaced(sides, found, then, now),
        *_unregistered(sides, found, then, now),
        *_others(sides, found, then, now),
    ]
    yield from troubles
    if not any(each.kind in (Kind.FAULT, Kind.UNKNOWN) for each in troubles):
        said = f"{_all(len(found.stayed))} of before {'is' if len(found.stayed) == 1 else 'are'} registered"
        yield sides.said(Topic.ACCESS_POINTS, Kind.IN_ORDER, said, before=then.lines(()), after=now.lines(()))


def images(sides: Sides) -> Iterator[Difference]:
    """Whether every access point runs the release that the controllers should run."""
    now, member = table(sides.after), active(sides.after)
    reading = member.read(_IMAGE, ApImage) if member is not None else None
    problem = now.problem or (lack(member, reading) if member and reading and reading.facts is None else "")
    if not problem and member is not None and reading is not None:
        problem = lost(member, reading, "access points")
        if not problem and reading.facts is not None and reading.facts.total is None and not reading.whole:
            problem = f"nobody knows whether `{_IMAGE}` on {member.name} is whole"
    if problem or reading is None or reading.facts is None:
        said = f"on which image the access points are isn't known: {problem}"
        yield sides.said(Topic.AP_IMAGES, Kind.UNKNOWN, said)
        return
    yield from _on_images(sides, now, reading, reading.facts.aps)


def _on_images(
    sides: Sides, now: Table, reading: Reading[ApImage], listed: Sequence[ApImageRow]
) -> Iterator[Difference]:
    target = Release.parse(sides.target)
    releases = [(row, _release(row.primary)) for row in listed]
    # An access point's image carries the release's numbers without its letter: 17.9.4.27 belongs to 17.9.4a.
    wanted = replace(target, letter="")
    others = [(row, release) for row, release in releases if release is not None and release != wanted]
    silent = [row.name for row, release in releases if release is None]
    silent += sorted({ap.name for ap in now.aps} - {row.name for row in listed})
    if others:
        counts = Counter(str(release) for _, release in others)
        on = ", ".join(f"{number:,} on {release}" for release, number in sorted(counts.items()))
        names = [row.name for row, _ in others]
        said = f"{many(len(others), _WHAT)} {_are(others)} not on {target} but {on}: {some(sorted(names))}"
        lines = rows(reading, (row.at for row, _ in others), "total")
        kind = Kind.TO_EXPLAIN if sides.upgrade is False else Kind.FAULT
        yield sides.said(Topic.AP_IMAGES, kind, said, names, after=lines, remedy=_IMAGES)
    if silent:
        said = f"the image of {many(len(silent), _WHAT)} isn't shown: {some(sorted(silent))}"
        lines = rows(reading, (row.at for row in listed if row.name in set(silent)), "total")
        yield sides.said(Topic.AP_IMAGES, Kind.UNKNOWN, said, silent, after=lines)
    if not others and not silent:
        kind = Kind.EXPECTED if sides.upgrade and listed else Kind.IN_ORDER
        said = f"{_all(len(listed))} {'is' if len(listed) == 1 else 'are'} on {target}"
        yield sides.said(Topic.AP_IMAGES, kind, said, after=rows(reading, (), "total"))


def _missing(sides: Sides, found: Matched, then: Table, now: Table) -> Iterator[Difference]:
    replaced = {ap.name for ap in found.new}
    gone = [ap for ap in found.missing if ap.name not in replaced]
    if gone:
        names = [ap.name for ap in gone]
        said = f"{many(len(gone), _WHAT)} of {len(then.aps):,} {_are(gone)} missing: {some(sorted(names))}"
        left = _departures(sides.after, gone)
        lines = (*now.lines(()), *left)
        yield sides.said(Topic.ACCESS_POINTS, Kind.FAULT, said, names, then.lines(gone), lines, _LOOK)


def _replaced(sides: Sides, found: Matched, then: Table, now: Table) -> Iterator[Difference]:
    gone = {ap.name for ap in found.missing}
    came = [ap for ap in found.new if ap.name in gone]
    if came:
        names = [ap.name for ap in came]
        old = [ap for ap in found.missing if ap.name in set(names)]
        said = f"{many(len(came), _WHAT)} {_are(came)} another device of the same name: {some(sorted(names))}"
        remedy = "Find out whether somebody replaced them during the window."
        yield sides.said(Topic.ACCESS_POINTS, Kind.TO_EXPLAIN, said, names, then.lines(old), now.lines(came), remedy)


def _unregistered(sides: Sides, found: Matched, then: Table, now: Table) -> Iterator[Difference]:
    away = [(old, ap) for old, ap in found.stayed if ap.state is not None and not _is_registered(ap)]
    lost_now = [ap for old, ap in away if old.state is None or _is_registered(old)]
    as_before = [ap for old, ap in away if ap not in lost_now]
    silent = [ap for _, ap in found.stayed if ap.state is None]
    for aps, kind, words, remedy in (
        (lost_now, Kind.FAULT, "not registered now", _LOOK),
        (as_before, Kind.TO_EXPLAIN, "not registered, as before", _LOOK),
        (silent, Kind.UNKNOWN, "listed without a state", ""),
    ):
        if aps:
            names = [ap.name for ap in aps]
            said = f"{many(len(aps), _WHAT)} {_are(aps)} {words}: {some(sorted(names))}"
            yield sides.said(Topic.ACCESS_POINTS, kind, said, names, then.lines(()), now.lines(aps), remedy)


def _others(sides: Sides, found: Matched, then: Table, now: Table) -> Iterator[Difference]:
    gone = {ap.name for ap in found.missing}
    came = [ap for ap in found.new if ap.name not in gone]
    if came:
        names = [ap.name for ap in came]
        said = f"{many(len(came), _WHAT)} {_are(came)} new: {some(sorted(names))}"
        remedy = "Find out whether they were installed, or belong to another pair that lost them."
        yield sides.said(Topic.ACCESS_POINTS, Kind.TO_EXPLAIN, said, names, then.lines(()), now.lines(came), remedy)
    if found.renamed:
        renamed = sorted(f"{old.name} is {new.name}" for old, new in found.renamed)
        said = f"{many(len(renamed), _WHAT)} {'has' if len(renamed) == 1 else 'have'} another name: {some(renamed)}"
        old, new = ([pair[at] for pair in found.renamed] for at in (0, 1))
        names = [ap.name for ap in new]
        remedy = "Find out who renamed them."
        yield sides.said(Topic.ACCESS_POINTS, Kind.TO_EXPLAIN, said, names, then.lines(old), now.lines(new), remedy)


def _departures(after: Snapshot, gone: Sequence[AccessPoint]) -> tuple[Evidence, ...]:
    """What the join summary says of those that left: the nearest to a reason that a controller prints."""
    member: MemberSnapshot | None = active(after)
    reading = member.read(_JOINS, JoinSummary) if member is not None else None
    if reading is None or reading.facts is None:
        return ()
    ethernet, radio = ({mac(each) for each in macs} - {None} for macs in zip(*map(_macs, gone), strict=True))
    left = (row.at for row in reading.facts.aps if mac(row.ethernet_mac) in ethernet or mac(row.base_mac) in radio)
    return rows(reading, left)


def _macs(ap: AccessPoint) -> tuple[str | None, str | None]:
    return ap.ethernet_mac, ap.radio_mac


def _is_registered(ap: AccessPoint) -> bool:
    return (ap.state or "").strip().lower() == "registered"


def _are(aps: Sequence[object]) -> str:
    return "is" if len(aps) == 1 else "are"


def _all(number: int) -> str:
    return many(number, _WHAT) if number < 2 else f"all {number:,} {_WHAT}s"


def _release(printed: str | None) -> Release | None:
    try:
        return replace(Release.parse(printed or ""), letter="")
    except ValueError:
        return None
