"""What is on the air: clients, radios and WLANs, as the active member counts them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from collector.comparing.access_points import table
from collector.comparing.comparison import Difference, Kind, Topic
from collector.comparing.identity import mac, match
from collector.comparing.sides import Sides, active, asked_at, many, some
from collector.finding import Evidence
from collector.rules.ap_tables import capped
from collector.rules.sessions import lack, listed
from collector.snapshot import Reading, Snapshot
from parsers.facts.wireless import Radio, RadioSummary, WirelessSummary, Wlan, WlanSummary

_TOTALS, _WLANS = "show wireless summary", "show wlan summary"
_RADIOS = ("show ap dot11 5ghz summary", "show ap dot11 24ghz summary")
_DAY = 24 * 60
_FEW = "Find out where they are before the window ends: access points, radios, WLANs, or the servers that let them in."
_DOWN = "Find out why they are down (channel, power, the radio itself), before the window ends."
_OFF = "Find out who switched them off, and why."
_ON = "Find out who changed the configuration, and why."


def clients(sides: Sides) -> Iterator[Difference]:
    """The clients after, in per cent of those that the baseline of about the same hour counted."""
    if (unasked := sides.unasked(Topic.CLIENTS, [_TOTALS])) is not None:
        yield unasked
        return
    baseline = _nearest(sides)
    (then, was, old), (now, is_now, new) = count_clients(baseline), count_clients(sides.after)
    if then is None or now is None:
        said = f"how many clients there were isn't known: {listed(each for each in (was, is_now) if each)}"
        yield sides.said(Topic.CLIENTS, Kind.UNKNOWN, said, (), old, new)
        return
    limits = sides.policy.after_window
    counted = asked_at(sides.after, baseline)
    apart = _hours_apart(counted, asked_at(sides.after, sides.after))
    said = f"{many(now, 'client')} now, {then:,} at {counted:%H:%M} on {counted:%Y-%m-%d}"
    said += f": {100 * now / then:.0f}%, and the policy asks for {limits.clients_percent:g}%" if then else ""
    if 100 * now >= limits.clients_percent * then:
        yield sides.said(Topic.CLIENTS, Kind.IN_ORDER, said, (), old, new)
    elif apart <= limits.baseline_hours:
        yield sides.said(Topic.CLIENTS, Kind.FAULT, said, (), old, new, _FEW)
    else:
        said += f"; no baseline is of within {limits.baseline_hours:g} h of this hour of the day"
        yield sides.said(Topic.CLIENTS, Kind.TO_EXPLAIN, said, (), old, new, _FEW)


def radios(sides: Sides) -> Iterator[Difference]:
    """Every radio that was up has to be up; one that somebody switched off is another matter."""
    if (unasked := sides.unasked(Topic.RADIOS, _RADIOS)) is not None:
        yield unasked
        return
    then, now = radios_of(sides.before), radios_of(sides.after)
    problems = [f"{words}: {side.problem}" for side, words in ((then, "before"), (now, "after")) if side.problem]
    if problems:
        said = f"which radios were up isn't known {'; '.join(problems)}"
        yield sides.said(Topic.RADIOS, Kind.UNKNOWN, said)
        return
    away, renamed, known = _missing_names(sides), _new_names(sides), _Known(now.radios)
    worked = [(radio, known.find(radio, renamed)) for radio in then.radios if radio.up and radio.name not in away]
    gone = [radio for radio, found in worked if found is None]
    here = [found for _, found in worked if found is not None]
    off = [radio for radio in here if radio.admin_up is False]
    down = [radio for radio in here if radio.up is False and radio.admin_up is not False]
    silent = [radio for radio in here if radio.up is None and radio.admin_up is not False]
    silent += [radio for radio in then.radios if radio.up is None]
    found = (
        (gone, Kind.FAULT, "gone from the table", _DOWN),
        (down, Kind.FAULT, "down", _DOWN),
        (off, Kind.TO_EXPLAIN, "switched off", _OFF),
        (silent, Kind.UNKNOWN, "listed without a state", ""),
    )
    for each, kind, words, remedy in found:
        if each:
            names = [_named(radio) for radio in each]
            said = f"{many(len(each), 'radio')} that {'was' if len(each) == 1 else 'were'} up before: {words}: "
            said = f"{said}{some(sorted(names))}"
            yield sides.said(Topic.RADIOS, kind, said, names, then.lines(each), now.lines(each), remedy)
    if not gone and not down and not silent:
        up = len(here) - len(off)
        besides = ", those of missing access points aside" if away else ""
        said = f"{many(up, 'radio')} that {'was' if up == 1 else 'were'} up {'is' if up == 1 else 'are'} up{besides}"
        yield sides.said(Topic.RADIOS, Kind.IN_ORDER, said, (), then.lines(()), now.lines(()))


def wlans(sides: Sides) -> Iterator[Difference]:
    """Every WLAN that was enabled has to be, under its own name."""
    if (unasked := sides.unasked(Topic.WLANS, [_WLANS])) is not None:
        yield unasked
        return
    (then, was, old), (now, is_now, new) = wlans_of(sides.before), wlans_of(sides.after)
    if was or is_now:
        said = f"which WLANs were enabled isn't known: {was or is_now}"
        yield sides.said(Topic.WLANS, Kind.UNKNOWN, said)
        return
    found = [each for each in _wlan_differences(then, now) if each[0]]
    for wlans, kind, words, remedy in found:
        names = [wlan.profile for wlan in wlans]
        said = f"{many(len(wlans), 'WLAN')} {'is' if len(wlans) == 1 else 'are'} {words}: {some(sorted(names))}"
        ids = {wlan.id for wlan in wlans}
        yield sides.said(Topic.WLANS, kind, said, names, _rows(old, ids), _rows(new, ids), remedy)
    if not found:
        enabled = sum(bool(wlan.enabled) for wlan in now.values())
        said = f"the same {many(len(now), 'WLAN')} as before, {enabled:,} of them enabled"
        yield sides.said(Topic.WLANS, Kind.IN_ORDER, said, (), _rows(old, ()), _rows(new, ()))


def _wlan_differences(then: Mapping[int, Wlan], now: Mapping[int, Wlan]) -> Iterator[tuple[list[Wlan], Kind, str, str]]:
    """By number, as the controllers tell them apart: one that served clients before has to serve them now."""
    stayed = [(wlan, now[id]) for id, wlan in then.items() if id in now]
    gone = [wlan for id, wlan in then.items() if id not in now]
    served = [wlan for wlan in gone if wlan.enabled is not False]
    yield served, Kind.FAULT, "gone", "Find out why the configuration lacks them."
    yield [b for a, b in stayed if a.enabled and b.enabled is False], Kind.FAULT, "disabled now", _OFF
    silent = [b if b.enabled is None else a for a, b in stayed if None in (a.enabled, b.enabled)]
    yield silent, Kind.UNKNOWN, "listed without a status", ""
    named = [b for a, b in stayed if (a.profile, a.ssid) != (b.profile, b.ssid)]
    yield named, Kind.TO_EXPLAIN, "named otherwise", "Find out who renamed them."
    yield [b for a, b in stayed if a.enabled is False and b.enabled], Kind.TO_EXPLAIN, "enabled now", _ON
    yield [wlan for wlan in gone if wlan not in served], Kind.TO_EXPLAIN, "gone, and disabled before", _ON
    yield [wlan for id, wlan in now.items() if id not in then], Kind.TO_EXPLAIN, "new", _ON


@dataclass(frozen=True)
class Air:
    """The radios of both bands by the active member's tables; `problem` says why they aren't all known."""

    radios: tuple[Radio, ...]
    readings: tuple[Reading[RadioSummary], ...]
    problem: str = ""

    def lines(self, radios: Sequence[Radio]) -> tuple[Evidence, ...]:
        """The controller's counts, and the rows of these radios as this side shows them."""
        wanted = {_named(radio) for radio in radios}
        return tuple(
            line
            for reading in self.readings
            if reading.facts is not None
            for line in capped(
                reading.evidence("count", lines=tuple(r.at for r in reading.facts.radios if _named(r) in wanted))
            )
        )


def radios_of(snapshot: Snapshot) -> Air:
    """The radios of a side."""
    member = active(snapshot)
    if member is None:
        return Air((), (), "it isn't certain which member is active")
    readings = tuple(member.read(command, RadioSummary) for command in _RADIOS)
    found: list[Radio] = []
    problems: list[str] = []
    for reading in readings:
        if reading.facts is None:
            problems.append(lack(member, reading))
        elif reading.facts.count is None and reading.facts.ap_count is None and not reading.whole:
            problems.append(f"nobody knows whether `{reading.command}` on {member.name} is whole")
        else:
            found += reading.facts.radios
    return Air(tuple(found), readings, listed(problems) if problems else "")


class _Known:
    """The radios of one side by address and slot, and by name and slot where one of the sides shows no address."""

    def __init__(self, radios: Sequence[Radio]) -> None:
        self._by_mac = {(mac(radio.mac), radio.slot): radio for radio in radios if mac(radio.mac)}
        self._by_name = {(radio.name, radio.slot): radio for radio in radios}

    def find(self, radio: Radio, names: Mapping[str, str]) -> Radio | None:
        """The same radio on this side; `names` are the new names of access points by their old ones."""
        own = mac(radio.mac)
        found = self._by_mac.get((own, radio.slot)) if own else None
        named = self._by_name.get((names.get(radio.name, radio.name), radio.slot))
        return found or (named if named is not None and not (own and mac(named.mac)) else None)


def _new_names(sides: Sides) -> Mapping[str, str]:
    found = match(table(sides.before).aps, table(sides.after).aps)
    return {then.name: now.name for then, now in found.renamed}


def _missing_names(sides: Sides) -> frozenset[str]:
    """The names of access points that are missing: that their radios are, too, is no news."""
    then, now = table(sides.before), table(sides.after)
    if then.problem or now.problem:
        return frozenset()
    return frozenset(ap.name for ap in match(then.aps, now.aps).missing)


def _named(radio: Radio) -> str:
    return f"{radio.name} slot {radio.slot}" if radio.slot is not None else radio.name


def wlans_of(snapshot: Snapshot) -> tuple[dict[int, Wlan], str, Reading[WlanSummary] | None]:
    """The WLANs of a side by their numbers; why they aren't all known; the answer that tells them."""
    member = active(snapshot)
    if member is None:
        return {}, "it isn't certain which member is active", None
    reading = member.read(_WLANS, WlanSummary)
    if reading.facts is None:
        return {}, lack(member, reading), reading
    if reading.facts.count is None and not reading.whole:
        return {}, f"nobody knows whether `{_WLANS}` on {member.name} is whole", reading
    return {wlan.id: wlan for wlan in reading.facts.wlans}, "", reading


def _rows(reading: Reading[WlanSummary] | None, ids: Collection[int]) -> tuple[Evidence, ...]:
    """The controller's count, and the rows of these WLANs."""
    if reading is None or reading.facts is None:
        return ()
    return reading.evidence("count", lines=tuple(wlan.at for wlan in reading.facts.wlans if wlan.id in ids))


def count_clients(snapshot: Snapshot) -> tuple[int | None, str, tuple[Evidence, ...]]:
    """The clients that the active member counts; why that isn't known; the line that tells it."""
    member = active(snapshot)
    if member is None:
        return None, "it isn't certain which member is active", ()
    reading = member.read(_TOTALS, WirelessSummary)
    if reading.facts is None:
        return None, lack(member, reading), ()
    problem = "" if reading.facts.clients is not None else f"`{_TOTALS}` on {member.name} doesn't count them"
    return reading.facts.clients, problem, reading.evidence("clients")


def _nearest(sides: Sides) -> Snapshot:
    """The baseline whose hour of the day is the nearest to the comparison's; of equals the latest."""
    now = asked_at(sides.after, sides.after)
    baselines = sorted((sides.before, *sides.counts), key=lambda each: asked_at(sides.after, each), reverse=True)
    return min(baselines, key=lambda each: _hours_apart(asked_at(sides.after, each), now))


def _hours_apart(one: datetime, other: datetime) -> float:
    """How far two times of the day are apart, whatever the dates: 23:30 and 00:30 are one hour."""
    apart = abs((one.hour * 60 + one.minute) - (other.hour * 60 + other.minute))
    return min(apart, _DAY - apart) / 60
