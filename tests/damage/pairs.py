"""The pairs that are damaged: the demo's, and generated ones with faults drawn by lot."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Verdict
from collector.rules import waivable
from collector.snapshot import MemberSnapshot, Snapshot, member_snapshot
from inventory.opening import open_inventory
from inventory.pairs import Pair
from parsers import catalogue
from tests import demo_fleet
from tests.demo_fleet import INVENTORY, judged, taken
from tests.fleet.demo import DEMO
from tests.fleet.description import AccessPoint, Dress, File, Package, PairDescription, Switchover
from tests.fleet.making import access_point_rows, healthy_pair
from tests.fleet.writing import captures, groups, hosts

Key = tuple[str, str]
"""A member's name and a command's text."""

GENERATED = 200
_LONG_AGO = timedelta(days=40)


@dataclass(frozen=True)
class Trial:
    """A pair to damage.

    `twin` holds the texts of the same pair without its faults, `old` what that healthy pair printed some weeks ago.
    `telling` are the captures that differ from the twin's: where the faults show. `deciding` are
    the rules that speak against it. `healthy` says that the twin goes, `standby` names its standby.
    """

    name: str
    faults: tuple[str, ...]
    snapshot: Snapshot
    twin: Mapping[Key, str]
    old: Mapping[Key, str]
    telling: tuple[Key, ...]
    verdict: Verdict
    deciding: tuple[str, ...]
    healthy: bool
    standby: str


def texts(described: Snapshot) -> dict[Key, str]:
    """The texts of all captures; a missing one has none."""
    return {
        (member.name, command): capture.text
        for member in described.members
        for command, capture in member.captures.items()
        if capture.ending is Ending.COMPLETE
    }


def said(pair: Pair, described: PairDescription) -> Snapshot:
    """What a sweep of these controllers keeps, dated."""
    first, second = (_member(described, place) for place in (0, 1))
    return Snapshot(pair, (first, second), EVENING)


def _member(described: PairDescription, place: int) -> MemberSnapshot:
    member = described.members[place]
    printed = captures(described, member)
    kept = [taken(Capture(member.name, command, text)) for command, text in printed.items()]
    if not kept:
        kept = [
            Capture(member.name, each.text, ending=Ending.MISSING, reason="no answer to the login")
            for each in catalogue.asked()
        ]
    return member_snapshot(member.name, kept)


# Every fault takes a healthy pair and the lot, and gives back the pair with the fault; None where it has no such one.
Fault = Callable[[PairDescription, random.Random], PairDescription | None]


def _members(pair: PairDescription, lot: random.Random, **values: Any) -> PairDescription:
    """One member with these values, or both."""
    which = lot.choice(((0,), (1,), (0, 1)))
    first, second = (replace(own, **values) if place in which else own for place, own in enumerate(pair.members))
    return replace(pair, members=(first, second))


def _bundle(pair: PairDescription, lot: random.Random) -> PairDescription:
    image = lot.choice(("bootflash:wx-universal.17.09.04a.bin", "bootflash:packages.conf"))
    return _members(pair, lot, install_mode="BUNDLE", image_file=image)


def _image_file(pair: PairDescription, lot: random.Random) -> PairDescription:
    return _members(pair, lot, image_file="bootflash:wx-universal.17.09.04a.bin")


def _boot(pair: PairDescription, lot: random.Random) -> PairDescription:
    old = "bootflash:wx-universal.17.06.06.bin"
    return _members(pair, lot, boot=lot.choice(((old,), (old, "bootflash:packages.conf"), ())))


def _register(pair: PairDescription, lot: random.Random) -> PairDescription:
    return _members(pair, lot, config_register=lot.choice(("0x2142", "0x0", "0x142", "0x2100")))


def _rom_monitor(pair: PairDescription, lot: random.Random) -> PairDescription | None:
    if pair.members[0].virtual:
        return None
    return _members(pair, lot, rom_monitor=lot.choice(("16.12(1r)", "16.9(2r)", "15.5(3r)")))


def _flash(pair: PairDescription, lot: random.Random) -> PairDescription:
    return _members(pair, lot, flash_free=lot.randrange(10**8, 2 * 10**9))


def _no_image(pair: PairDescription, lot: random.Random) -> PairDescription:
    return _staged(pair, lot, None)


def _half_an_image(pair: PairDescription, lot: random.Random) -> PairDescription:
    return _staged(pair, lot, lot.randrange(10**6, pair.image_bytes))


def _staged(pair: PairDescription, lot: random.Random, size: int | None) -> PairDescription:
    def files(own: tuple[File, ...]) -> tuple[File, ...]:
        rest = tuple(file for file in own if file.name != pair.image_file)
        return rest if size is None else (*rest, File(pair.image_file, size, " Feb 1 2027 10:05:40 +00:00"))

    return _members(pair, lot, files=files(pair.members[0].files))


def _standby(pair: PairDescription, lot: random.Random) -> PairDescription:
    return replace(pair, standby_state=lot.choice(("STANDBY COLD", "STANDBY COLD-BULK", "DISABLED")))


def _mode(pair: PairDescription, lot: random.Random) -> PairDescription:
    return replace(pair, operating_mode=lot.choice(("rpr", "Non-redundant")))


def _lost(pair: PairDescription, lot: random.Random) -> PairDescription:
    alone = replace(pair, peer_lost=True, operating_mode="Non-redundant", standby_failures=1)
    gone = replace(pair.standby_member, reachable=False)
    first, second = (gone if own.name == gone.name else own for own in pair.members)
    return replace(alone, members=(first, second)) if lot.random() < 0.6 else alone


def _split(pair: PairDescription, lot: random.Random) -> PairDescription:
    return replace(pair, split=True, operating_mode="Non-redundant")


def _interface(pair: PairDescription, lot: random.Random) -> PairDescription | None:
    if not pair.members[0].virtual:
        return None
    first, second = pair.members
    return replace(pair, members=(replace(first, link_interface="GigabitEthernet2"), second))


def _packages(pair: PairDescription, lot: random.Random) -> PairDescription:
    own = pair.members[0].installed
    release = own[0].name
    more = (
        (Package("IMG", "U", release),),
        (*own, Package("IMG", "I", "17.12.04.0.4321")),
        (*own, Package("SMU", "U", "bootflash:wx-fix.CSC1.SPA.smu.bin")),
        (*own, Package("APSP", "D", "bootflash:wx-ap.17.09.04a.apsp.bin")),
        (*own, Package("SMU", "I", "bootflash:wx-fix.CSC2.SPA.smu.bin")),
        (*own, Package("SMU", "C", "bootflash:wx-fix.CSC3.SPA.smu.bin")),
        (),
    )
    return _members(pair, lot, packages=lot.choice(more))


def _timer(pair: PairDescription, lot: random.Random) -> PairDescription:
    return replace(pair, auto_abort=f"0{lot.randrange(6)}:{lot.randrange(60):02d}:42")


def _upgrade(pair: PairDescription, lot: random.Random) -> PairDescription:
    of_demo = {each.name: each.upgrade for each in DEMO if each.upgrade}
    return replace(pair, upgrade=lot.choice(sorted(of_demo.values())))


def _unsynchronised(pair: PairDescription, lot: random.Random) -> PairDescription:
    lines = lot.choice(
        (
            ("- snmp-server location Berth",),
            ("interface TenGigabitEthernet0/0/5", '! <submode> "interface"', "- channel-group 7 mode active"),
            ("00:06:31: Config Sync: Starting lines from MCL file:", "- ip http server"),
        )
    )
    of_list: dict[str, Any] = {lot.choice(("mismatched", "best_effort", "parser_return", "ignored")): lines}
    return replace(pair, **of_list)


def _refused(pair: PairDescription, lot: random.Random) -> PairDescription:
    command = lot.choice(("show version", "show install summary", "show redundancy", "show chassis rmi", "show romvar"))
    return _members(pair, lot, refuses=frozenset({command, *pair.members[0].refuses}))


def _unreached(pair: PairDescription, lot: random.Random) -> PairDescription:
    gone = pair.members[lot.randrange(2)]
    first, second = (replace(own, reachable=own.name != gone.name) for own in pair.members)
    return replace(pair, members=(first, second))


def _model(pair: PairDescription, lot: random.Random) -> PairDescription | None:
    if pair.members[0].virtual:
        return None
    return _members(pair, lot, model=lot.choice(("WX-9820", "WX-9841")))


def _other_model(pair: PairDescription, lot: random.Random) -> PairDescription | None:
    first, second = pair.members
    if first.virtual:
        return None
    model = "WX-9880" if first.model == "WX-9840" else "WX-9840"
    return replace(pair, members=(first, replace(second, model=model)))


def _release(pair: PairDescription, lot: random.Random) -> PairDescription:
    release, build = lot.choice((("17.3.6", "0.1540"), ("17.9.1", "0.4"), ("17.13.1", "0.9"), ("16.12.8", "0.3")))
    return _members(pair, lot, release=release, build=build)


def _old_access_points(pair: PairDescription, lot: random.Random) -> PairDescription:
    return _access_points(pair, lot, model="WX-AP11")


def _unstaged(pair: PairDescription, lot: random.Random) -> PairDescription:
    behind = _access_points(pair, lot, staging=lot.choice(("None", "Failed", "Predownloading", "Initiated")))
    return replace(behind, window="2027-02-06T02:00:00+01:00")


def _access_points(pair: PairDescription, lot: random.Random, **values: Any) -> PairDescription:
    some = set(lot.sample(range(len(pair.access_points)), lot.randint(1, len(pair.access_points))))
    rows = (replace(ap, **values) if place in some else ap for place, ap in enumerate(pair.access_points))
    return replace(pair, access_points=tuple(rows))


def _stranger(pair: PairDescription, lot: random.Random) -> PairDescription:
    return _members(pair, lot, peer_mac="0200.5e00.c0de")


def _certificate(pair: PairDescription, lot: random.Random) -> PairDescription:
    return replace(pair, certificate=(EVENING - timedelta(days=3600), EVENING + timedelta(days=lot.randrange(-9, 20))))


FAULTS: Mapping[str, Fault] = {
    "bundle mode": _bundle,
    "another image file": _image_file,
    "boot variable": _boot,
    "configuration register": _register,
    "ROM monitor": _rom_monitor,
    "flash full": _flash,
    "image not staged": _no_image,
    "image cut off": _half_an_image,
    "standby not hot": _standby,
    "operating mode": _mode,
    "peer lost": _lost,
    "both active": _split,
    "link interface": _interface,
    "packages": _packages,
    "rollback timer": _timer,
    "upgrade in progress": _upgrade,
    "configuration not synchronised": _unsynchronised,
    "command refused": _refused,
    "member not reached": _unreached,
    "unsupported model": _model,
    "models differ": _other_model,
    "release": _release,
    "access points too old": _old_access_points,
    "access points not staged": _unstaged,
    "wrong partner": _stranger,
    "certificate ends": _certificate,
}


def _healthy(number: int, lot: random.Random) -> PairDescription:
    """One that goes, of a size, a model, a release and a dress by lot."""
    model = lot.choice(("WX-9840", "WX-9880", "WX-VC"))
    release, build = lot.choice((("17.9.4a", "0.6"), ("17.9.5", "0.4112"), ("17.6.6", "0.2231"), ("17.12.3", "0.3115")))
    name = f"pier-{number}"
    refuses = frozenset({"dir bootflash:", "show boot", "show install summary"}) if lot.random() < 0.1 else frozenset()
    active = lot.randrange(2)
    limited = {"refuses": refuses}
    turns = lot.randrange(2)
    return healthy_pair(
        name,
        f"Pier {number}",
        number,
        model=model,
        release=release,
        both={"build": build},
        first=limited if active else None,
        second=None if active else limited,
        active=active,
        switchovers=turns,
        last_switchover_reason="user forced" if turns else "none",
        history=(Switchover(2, 1, "user_forced", EVENING - timedelta(days=200)),) if turns else (),
        access_points=access_point_rows(name, ("Ramp", "Hall"), lot.randint(2, 5), number, spaced=lot.random() < 0.3),
        dress=_dress(lot),
        standby_dress=_dress(lot) if lot.random() < 0.5 else None,
    )


def _dress(lot: random.Random) -> Dress:
    def now_and_then() -> bool:
        return lot.random() < 0.2

    return Dress(
        load_line=now_and_then(),
        time_line=now_and_then(),
        carriage_returns=now_and_then(),
        doubled_blanks=now_and_then(),
        indented=now_and_then(),
        trailing_blanks=now_and_then(),
        hardware_version=not now_and_then(),
        manual_boot_line=lot.random() < 0.6,
        wrapped_image=now_and_then(),
        spelled_mode=now_and_then(),
        scopes=lot.choice(("chassis", "chassis", "slots")),
        timer=lot.choice(("each", "once")),
        system_checks=now_and_then(),
        access_point_columns=lot.choice(("address first", "country first")),
        heading_every=lot.choice((0, 0, 3)),
        quoted_variables=now_and_then(),
        tight_variables=now_and_then(),
        processor_layout=lot.choice(("tables", "blocks")),
    )


def _drawn(number: int, seed: int) -> tuple[PairDescription, PairDescription, tuple[str, ...]]:
    """A healthy pair, the same with one to three faults (none, one time in twenty), and their names."""
    lot = random.Random(f"pair {seed} {number}")
    twin = _healthy(number, lot)
    pair = twin
    names: list[str] = []
    wanted = lot.choices((0, 1, 2, 3), (1, 13, 4, 2))[0]
    while len(names) < wanted:
        name = lot.choice(sorted(set(FAULTS) - set(names)))
        faulty = FAULTS[name](pair, lot)
        if faulty is not None:
            pair, names = faulty, [*names, name]
    return twin, pair, tuple(names)


def _as_it_was(twin: PairDescription) -> PairDescription:
    """The healthy pair weeks ago."""
    return replace(
        twin,
        asked=twin.asked - _LONG_AGO,
        changed=twin.changed - _LONG_AGO,
        saved=twin.saved - _LONG_AGO,
        uptime="25 weeks, 4 days, 4 hours, 12 minutes",
    )


def _trial(pair: Pair, printing: Snapshot, twin: PairDescription, faults: tuple[str, ...], recorded: bool) -> Trial:
    """By what its controllers print; a pair of the demo is damaged as recorded, where hands have been at work too."""
    snapshot = demo_fleet.snapshot(pair.name) if recorded else printing
    healthy, printed = said(pair, twin), texts(printing)
    found = judged(snapshot)
    fit, old = texts(healthy), texts(said(pair, _as_it_was(twin)))
    keys = sorted({*fit, *printed})
    return Trial(
        pair.name,
        faults,
        snapshot,
        fit,
        old,
        tuple(key for key in keys if fit.get(key) != printed.get(key)),
        found.verdict,
        tuple(finding.rule for finding in found.findings if finding.decides),
        judged(healthy).verdict is Verdict.GO,
        twin.standby_member.name,
    )


def made(twin: PairDescription, pair: PairDescription, *faults: str) -> Trial:
    """One pair to damage, and the same without its faults."""
    with TemporaryDirectory() as folder:
        (found,) = _inventory(Path(folder), [pair])
    return _trial(found, said(found, pair), twin, faults, recorded=False)


@cache
def generated(count: int = GENERATED, seed: int = 1) -> tuple[Trial, ...]:
    """So many pairs of the seed's."""
    drawn = [_drawn(number, seed) for number in range(count)]
    with TemporaryDirectory() as folder:
        found = {pair.name: pair for pair in _inventory(Path(folder), [pair for _, pair, _ in drawn])}
    return tuple(
        _trial(found[pair.name], said(found[pair.name], pair), twin, names, recorded=False)
        for twin, pair, names in drawn
    )


def _inventory(folder: Path, pairs: Sequence[PairDescription]) -> tuple[Pair, ...]:
    (folder / "hosts.yaml").write_text(hosts(pairs))
    (folder / "groups.yaml").write_text(groups(pairs))
    (folder / "policy.yaml").write_bytes((INVENTORY / "policy.yaml").read_bytes())
    return tuple(open_inventory(folder, waivable()).pairs)


@cache
def of_the_demo() -> tuple[Trial, ...]:
    """The demo's pairs, as recorded."""
    return tuple(_of_the_demo())


def _of_the_demo() -> Iterator[Trial]:
    for number, described in enumerate(DEMO):
        pair = demo_fleet.snapshot(described.name).pair
        yield _trial(pair, said(pair, described), _twin(described, number), (described.name,), recorded=True)


def _twin(pair: PairDescription, number: int) -> PairDescription:
    """A pair of the same name, plan and access points that nothing is the matter with."""
    own = pair.members[1 - pair.active]
    return healthy_pair(
        pair.name,
        pair.site,
        number,
        model=pair.members[0].model,
        release=pair.members[0].release,
        both={"build": pair.members[0].build},
        first={"refuses": pair.members[0].refuses},
        second={"refuses": own.refuses - {"show version"}},
        active=pair.active,
        zone=pair.zone,
        switchovers=pair.switchovers,
        last_switchover_reason=pair.last_switchover_reason,
        history=pair.history,
        dress=pair.dress,
        standby_dress=pair.standby_dress,
        target_release=pair.target_release,
        image_file=pair.image_file,
        image_bytes=pair.image_bytes,
        access_points=tuple(_mended(ap) for ap in pair.access_points),
    )


def _mended(ap: AccessPoint) -> AccessPoint:
    model = "WX-AP20" if ap.model == "WX-AP11" else ap.model
    return replace(ap, model=model, staging="Complete", failure=None)


def trials(count: int = GENERATED, seed: int = 1) -> tuple[Trial, ...]:
    """Every pair of the demo and the generated ones."""
    return (*of_the_demo(), *generated(count, seed))
