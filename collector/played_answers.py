"""What a member of a played upgrade prints: the pair's recorded answers, as they would read in a scene of the play.

A simulated controller speaks a controller's language of its own accord, without the parsers: what is tried against
it must not share their mistakes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, timedelta

from collector import played_access_points
from collector.played_recording import MAC, Asked, Recorded, countdown, is_refused, padded, printed, span
from collector.played_upgrade import LEAD, OTHER, Done, Package, Scene, Step, Upgrade
from collector.simulated_shell import later
from parsers import catalogue

_REFUSED = "                     ^\n% Invalid input detected at '^' marker.\n\n"
_RULER = "-" * 80
_DOUBLE_RULER = "=" * 55
_THIN_RULER = "-" * 55
_NO_ADDRESS = "0.0.0.0"  # noqa: S104
_TARGET_BUILD = "0.4321"
_CORE_BYTES = 41_203_871


def answer(recorded: Recorded, upgrade: Upgrade, scene: Scene, place: int, command: str) -> str | None:
    """What a member that isn't away prints for a command; None where nothing was recorded for it in its role."""
    row = catalogue.find(command)
    if row is None:
        return None
    asked = Asked(recorded, upgrade, scene, place)
    in_this_role = recorded.texts[asked.role_then].get(row.text)
    if in_this_role is None or is_refused(in_this_role):
        return in_this_role
    printer = _PRINTERS.get(row.text)
    return asked.text(row.text) if printer is None else printer(asked)


# Software and hardware.


def _version(asked: Asked) -> str:
    me, text = asked.me, asked.text("show version")
    uptime = span(_up(asked, asked.place))
    text = re.sub(
        r"(?m)( uptime is |^[ \t]*Uptime for this control processor is ).+?(?=[ \t]*\r?$)", rf"\g<1>{uptime}", text
    )
    if me.runs_target:
        for old, new in zip(asked.recorded.releases, (padded(asked.upgrade.target), asked.upgrade.target), strict=True):
            text = re.sub(rf"(?<=Version ){re.escape(old)}(?![\w.])", new, text)
    if me.booted is not None and me.reload_reason is not None:
        returned = f"{me.reload_reason} at {asked.clock_time(me.booted)}"
        text = re.sub(r"(?m)(System returned to ROM by ).+?(?=[ \t]*\r?$)", rf"\g<1>{returned}", text)
        text = re.sub(r"(?m)(Last reload reason: ).+?(?=[ \t]*\r?$)", rf"\g<1>{me.reload_reason}", text)
    return text


def _up(asked: Asked, place: int) -> float:
    """How many seconds a member has been up."""
    booted = asked.scene.members[place].booted
    if booted is not None:
        return asked.scene.elapsed - booted
    return asked.recorded.uptime(place) + asked.since_recorded.total_seconds()


def _boot(asked: Asked) -> str:
    own, standby = (_boot_lines(asked, place) for place in (asked.place, 1 - asked.place))
    if not asked.me.active and "Standby not ready" not in asked.recorded.texts[OTHER]["show boot"]:
        return printed(*own)
    # A standby's own peer is the active one, of whose variables it tells nothing.
    if asked.peer.away or asked.peer.state != "STANDBY HOT":
        return printed(*own, "", "Standby not ready to show bootvar")
    return printed(*own, "", *(f"Standby {line}" for line in standby))


def _boot_lines(asked: Asked, place: int) -> list[str]:
    """A member's own lines: as it told them, else as the other one told them of its standby."""
    told = asked.recorded.texts[place].get("show boot", _REFUSED)
    if is_refused(told):
        told = asked.recorded.texts[asked.role_then]["show boot"]
    lines = [line.strip("\r") for line in told.split("\n")]
    return [line for line in lines if re.match(r"[ \t]*(?:BOOT|CONFIG_FILE|BOOTLDR|Configuration|MANUAL)", line)]


def _rom_monitor(asked: Asked, *, active: bool) -> str:
    """The ROM monitor of the chassis that is active or the standby now."""
    place = asked.place if asked.me.active == active else 1 - asked.place
    if asked.scene.members[place].away:
        return _REFUSED
    which = "active" if place == LEAD else "standby"
    return asked.recorded.texts[asked.role_then][f"show rom-monitor chassis {which} R0"]


def _processors(asked: Asked) -> str:
    """The control processors; where the active one tells of both chassis, without the one that is away."""
    command = "show platform software status control-processor brief"
    text = asked.recorded.texts[asked.role_then][command]
    own, then = asked.number(asked.place), asked.number(asked.role_then)
    if not asked.me.active:
        return re.sub(rf"(?m)^(\s*){then}(?=-RP0\b)", rf"\g<1>{own}", text)
    away = f"{asked.number(1 - asked.place)}-RP0" if asked.peer.away else None
    kept, slot = [], ""
    for line in text.splitlines(keepends=True):
        named = re.match(r"[ \t]*(\d-RP0)\b", line)
        slot = named[1] if named else slot if re.match(r"[ \t]+\d+[ \t]", line) else ""
        if slot != away or not slot:
            kept.append(line)
    return "".join(kept)


def _resources(asked: Asked) -> str:
    role = "active" if asked.me.active else "standby"
    text = re.sub(
        r"\(ok, (?:active|standby)\)[ \t]+",
        lambda found: f"{f'(ok, {role})':<{len(found[0])}}",
        asked.text("show platform resources"),
    )

    def fuller(row: re.Match[str]) -> str:
        used, most = int(row[2]) + _taken(asked, asked.place) // 2**20, int(row[4])
        usage = f"{used}MB({used * 100 // most}%)"
        return f"{row[1]}{usage:<{len(row[0]) - len(row[1]) - len(row[4]) - 2}}{row[4]}MB"

    return re.sub(r"(?m)^([ \t]*bootflash[ \t]+)(\d+)MB\(\d+%\)([ \t]+)(\d+)MB", fuller, text)


# Flash.


def _taken(asked: Asked, place: int) -> int:
    """How many bytes the play has taken on a member's flash."""
    crashes = asked.scene.members[place].crashes
    return int(asked.upgrade.image_bytes * asked.scene.expanded) + _CORE_BYTES * len(crashes)


def _flash(asked: Asked, *, standby: bool, core: bool = False) -> str:
    """A directory: the member's own, or the one of its standby."""
    place = 1 - asked.place if standby else asked.place
    system, folder = ("stby-bootflash" if standby else "bootflash"), ("core" if core else "")
    if asked.scene.members[place].away:
        return printed(f"%Error opening {system}:/{folder + '/' if folder else ''} (No such device)", "")
    text = _flash_text(asked, place, folder)
    text = re.sub(r"(?m)^([ \t]*Directory of )(?:stby-)?bootflash:", rf"\g<1>{system}:", text)
    text = _with_files(text, _cores(asked, place) if core else _packages(asked, text))
    taken = _taken(asked, place)
    return re.sub(r"\((\d+) bytes free\)", lambda free: f"({max(int(free[1]) - taken, 0)} bytes free)", text)


def _flash_text(asked: Asked, place: int, folder: str) -> str:
    """A member's recorded directory: as it told it, else as its active one did."""
    own = asked.recorded.texts[place].get(f"dir bootflash:{folder}", _REFUSED)
    if place == OTHER and is_refused(own):
        own = asked.recorded.texts[LEAD].get(f"dir stby-bootflash:{folder}", own)
    return later(own, asked.since_recorded)


def _with_files(text: str, files: Sequence[tuple[int, str]]) -> str:
    """A listing with more files, each with its size and its date and name, behind those that it has."""
    lines = text.splitlines(keepends=True)
    listed = [at for at, line in enumerate(lines) if re.match(r"[ \t]*\d+[ \t]+[-d][-rwxd]{3}[ \t]", line)]
    if not files or not listed:
        return text
    new = [f"{655_370 + at:<7} -rw-  {size:>15}  {rest}\n" for at, (size, rest) in enumerate(files)]
    return "".join([*lines[: listed[-1] + 1], *new, *lines[listed[-1] + 1 :]])


def _packages(asked: Asked, text: str) -> list[tuple[int, str]]:
    """The target's package files, once it is expanded: named as those of before, together as big as the image."""
    scene, old = asked.scene, asked.recorded.releases[0]
    named = re.findall(rf"(?m)[ \t](\d+)[ \t]+\w{{3}} .*[ \t](\S*{re.escape(old)}\S*\.pkg)", text)
    if scene.expanding is None or scene.expanded < 1 or not named:
        return []
    whole, date = sum(int(size) for size, _ in named), _dated(asked, scene.expanding[1])
    new = padded(asked.upgrade.target)
    return [
        (asked.upgrade.image_bytes * int(size) // whole, f"{date}  {name.replace(old, new)}") for size, name in named
    ]


def _cores(asked: Asked, place: int) -> list[tuple[int, str]]:
    name = f"{asked.recorded.names[place]}_{asked.number(place)}_RP_0_wncd_23411.core.gz"
    return [(_CORE_BYTES, f"{_dated(asked, at)}  {name}") for at in asked.scene.members[place].crashes]


def _dated(asked: Asked, at: float) -> str:
    moment = asked.recorded.begins.astimezone(UTC) + timedelta(seconds=at)
    return f"{moment:%b} {moment.day} {moment:%Y %H:%M:%S} +00:00"


# The pair.


def _chassis(asked: Asked) -> str:
    def row(found: re.Match[str]) -> str:
        number = int(found["number"])
        member = asked.scene.members[asked.recorded.numbers.index(number)]
        lead = f"{'*' if number == asked.number(asked.place) else ' '}{number}       "
        if member.away:
            cells = ("Member", "0000.0000.0000", "0", "V00" if found["hardware"].strip() else "", "Removed")
            addresses = f"{_NO_ADDRESS:<17} {_NO_ADDRESS}"
        else:
            role = "Active" if member.active else "Standby"
            state = "Ready" if member.state in ("ACTIVE", "STANDBY HOT") else "HA sync in progress"
            cells = (role, found["mac"], found["priority"], found["hardware"].strip(), state)
            addresses = found["addresses"]
        return f"{lead}{cells[0]:<8} {cells[1]}     {cells[2]:<6} {cells[3]:<7} {cells[4]:<20} {addresses}"

    return re.sub(
        rf"(?m)^[ \t]*\*?(?P<number>\d+)[ \t]+\w+[ \t]+(?P<mac>{MAC})[ \t]+(?P<priority>\d+)"
        r"(?P<hardware>[ \t]+(?:V\d+)?)[ \t]+[A-Za-z][A-Za-z ]*?[ \t]{2,}(?P<addresses>\S+[ \t]+\S+)",
        row,
        asked.text("show chassis rmi"),
    )


def _redundancy(asked: Asked) -> str:
    text = asked.recorded.texts[asked.role_then]["show redundancy"]
    alone = asked.peer.away
    number, reason = _switchovers(asked, text)
    lines = [
        *_titled("Redundant System Information :"),
        _item("Available system uptime", span(_system_up(asked))),
        _item("Switchovers system experienced", str(number)),
        _item("Standby failures", _value(text, "Standby failures") or "0"),
        _item("Last switchover reason", reason),
        "",
        _item("Hardware Mode", "Simplex" if alone else "Duplex"),
        _item("Configured Redundancy Mode", _value(text, "Configured Redundancy Mode") or "sso"),
        _item("Operating Redundancy Mode", _operating_mode(asked, text)),
        _item("Maintenance Mode", "Disabled"),
        _item("Communications", "Down      Reason: Failure" if alone else "Up"),
        "",
        *_titled("Current Processor Information :"),
        *_processor(asked, asked.place),
        "",
    ]
    if alone:
        at = f"slot: {asked.number(1 - asked.place)}, switch: 0"
        return printed(*lines, f"Peer ({at}) information is not available because it is in 'DISABLED' state")
    return printed(*lines, *_titled("Peer Processor Information :"), *_processor(asked, 1 - asked.place), "")


def _switchovers(asked: Asked, text: str) -> tuple[int, str]:
    """How many there were since the system came up, and why the last one was."""
    up = asked.scene.up_since
    played = [row.reason.replace("_", " ") for row in asked.scene.switchovers if up is None or row.at > up]
    before = int(_value(text, "Switchovers system experienced") or 0) if up is None else 0
    last = _value(text, "Last switchover reason") if up is None else ""
    return before + len(played), [last or "none", *played][-1]


def _system_up(asked: Asked) -> float:
    """How many seconds at least one of the two has been up."""
    if asked.scene.up_since is not None:
        return asked.scene.elapsed - asked.scene.up_since
    return asked.recorded.uptime(LEAD) + asked.since_recorded.total_seconds()


def _operating_mode(asked: Asked, text: str) -> str:
    if asked.peer.away or "STANDBY COLD" in (asked.me.state, asked.peer.state):
        return "Non-redundant" if asked.peer.away else "rpr"
    return _value(text, "Operating Redundancy Mode") or "sso"


def _value(text: str, name: str) -> str:
    found = re.search(rf"(?m)^[ \t]*{re.escape(name)}[ \t]*=[ \t]*(.*?)[ \t]*\r?$", text)
    return found[1] if found else ""


def _titled(title: str) -> list[str]:
    return [title, "-" * (len(title) - 1)]


def _item(name: str, value: str) -> str:
    return f"{name:>30} = {value}"


def _processor(asked: Asked, place: int) -> list[str]:
    member = asked.scene.members[place]
    text = asked.recorded.texts[place]["show redundancy"]
    old = asked.recorded.releases[1]
    image = asked.recorded.headline
    if member.runs_target:
        image = image.replace(f"Version {old},", f"Version {asked.upgrade.target},")
    since = asked.scene.elapsed - member.since if member.since is not None else _up(asked, place)
    return [
        _item("Active Location" if member.active else "Standby Location", f"slot {asked.number(place)}"),
        _item("Current Software state", member.state),
        _item("Uptime in current state", span(since)),
        _item("Image Version", image),
        _item("BOOT", _value(text, "BOOT")),
        _item("CONFIG_FILE", _value(text, "CONFIG_FILE")),
        _item("Configuration register", _value(text, "Configuration register") or "0x102"),
        _item("Recovery mode", "Not Applicable"),
        _item("Fast Switchover", "Enabled"),
        _item("Initial Garp", "Enabled"),
    ]


def _history(asked: Asked) -> str:
    text = asked.text("show redundancy switchover history")
    lines = text.splitlines(keepends=True)
    shown = [at for at, line in enumerate(lines) if re.match(r"[ \t]*(?:\d+[ \t]+\d|-----)", line)]
    rows = sum(bool(re.match(r"[ \t]*\d+[ \t]+\d", line)) for line in lines)
    if not shown:
        return text
    new = [
        f"{index:>4} {asked.number(row.before):>7} {asked.number(row.after):>8}     {row.reason:<22} "
        f"{asked.clock_time(row.at)}\n"
        for index, row in enumerate(asked.scene.switchovers, rows + 1)
    ]
    return "".join([*lines[: shown[-1] + 1], *new, *lines[shown[-1] + 1 :]])


def _mismatched(asked: Asked) -> str:
    if not asked.scene.mismatched:
        return asked.text("show redundancy config-sync failures mcl")
    return printed(
        "Mismatched Command List",
        "-----------------------",
        "",
        "00:06:31: Config Sync: Starting lines from MCL file:",
        "interface TenGigabitEthernet0/0/5",
        '! <submode> "interface"',
        "- channel-group 7 mode active",
        '! </submode> "interface"',
        "",
    )


def _ntp(asked: Asked) -> str:
    hundredths = int(_up(asked, asked.place) * 100)
    return re.sub(r"(ntp uptime is )\d+", rf"\g<1>{hundredths}", asked.text("show ntp status"))


# The upgrade.


def _install_summary(asked: Asked) -> str:
    title = re.search(r"\[ (.*?) \]", asked.recorded.texts[asked.role_then]["show install summary"])
    style = title[1] if title else ""
    present = [place for place in _by_number(asked) if not asked.scene.members[place].away]
    if re.fullmatch(r"R\d", style):
        return printed(*_scope(asked, style, asked.me.packages), *_timer(asked))
    location = "{}/R0" if "/" in style else "{}"
    held = [asked.scene.members[place].packages for place in present]
    if all(each == held[0] for each in held):
        where = " ".join(location.format(asked.number(place)) for place in present)
        return printed(*_scope(asked, f"Chassis {where}", held[0]), *_timer(asked))
    lines: list[str] = []
    for place, packages in zip(present, held, strict=True):
        lines += [*_scope(asked, f"Chassis {location.format(asked.number(place))}", packages), *_timer(asked)]
    return printed(*lines)


def _by_number(asked: Asked) -> list[int]:
    return sorted((LEAD, OTHER), key=asked.number)


def _scope(asked: Asked, where: str, packages: Sequence[Package]) -> Iterator[str]:
    yield f"[ {where} ] Installed Package(s) Information:"
    yield "State (St): I - Inactive, U - Activated & Uncommitted,"
    yield "            C - Activated & Committed, D - Deactivated & Uncommitted"
    yield from (_RULER, "Type  St   Filename/Version", _RULER)
    for package in packages:
        named = (("IMG", _target_name(asked)),) if package.is_target else asked.recorded.installed
        for kind, name in named:
            yield f"{kind:<5} {package.state}    {name}"
    yield ""


def _target_name(asked: Asked) -> str:
    return f"{padded(asked.upgrade.target)}.{_TARGET_BUILD}"


def _timer(asked: Asked) -> list[str]:
    left = asked.scene.seconds_left
    state = "inactive" if left is None else f"active on install_activate, time before rollback - {countdown(left)}"
    return [_RULER, f"Auto abort timer: {state}", _RULER, ""]


def _issu_state(asked: Asked) -> str:
    number, operation = asked.number(asked.place), asked.scene.operation
    if operation is None and not asked.peer.away and "STANDBY HOT" in (asked.me.state, asked.peer.state):
        text = asked.text("show issu state detail")
        return re.sub(r"(?m)(lock acquisition on chassis )\d+", rf"\g<1>{number}", text)
    lines = [
        f"--- Starting local lock acquisition on chassis {number} ---",
        f"Finished local lock acquisition on chassis {number}",
        "",
    ]
    if operation is None:
        return printed(*lines, "No ISSU operation is in progress", "")
    told = _told_by_older_trains if asked.upgrade.older_train else _told_by_newer_trains
    return printed(*lines, *told(asked, operation.step, operation.done), "")


@dataclass(frozen=True)
class _Words:
    """A step in the words of newer trains (state, last operation) and of older ones (operation, slot)."""

    state: str
    last: str
    older: str
    slot: int | None


_WORDS: Mapping[Step, _Words] = {
    "adding": _Words("Init", "N/A", "add", None),
    "added": _Words("Added state", "Added", "add", None),
    "activating": _Words("Added state", "Activating", "loadversion", OTHER),
    "standby-activated": _Words("Standby activated", "Standby activated", "loadversion", OTHER),
    "switched-over": _Words("Active switched-over", "Switchover", "runversion", LEAD),
    "activated": _Words("Activated state", "Activated", "acceptversion", LEAD),
    "committing": _Words("Activated state", "Committing", "commitversion", LEAD),
    "undoing": _Words("Aborting", "Auto abort timer expired", "abortversion", None),
}
_TRANSITIONS: Mapping[Done, str] = {
    "add": "Added",
    "activate-standby": "Standby activated",
    "switch-over": "Active switched-over",
    "activate-other": "Activated",
}


def _told_by_newer_trains(asked: Asked, step: Step, done: Sequence[tuple[Done, float]]) -> list[str]:
    words, yes = _WORDS[step], {True: "Yes", False: "No"}
    hot = not asked.peer.away and "STANDBY HOT" in (asked.me.state, asked.peer.state)
    checks = {
        "Platform ISSU Support": "Yes",
        "Standby Online": yes[not asked.peer.away],
        "Autoboot Enabled": "Yes",
        "SSO Mode": yes[hot],
        "Install Boot": "Yes",
        "Valid Boot Media": "Yes",
        "Operational Mode": "HA-REMOTE",
    }
    added = [
        "Added Image:",
        f"{'Name':<36}Compatible",
        _THIN_RULER,
        f"{_target_name(asked):<36}Yes",
        _DOUBLE_RULER,
    ]
    left = asked.scene.seconds_left
    timer = "inactive" if left is None else f"automatic, remaining time before rollback: {countdown(left)}"
    return [
        "Current ISSU Status: In Progress",
        "Previous ISSU Operation: N/A",
        _DOUBLE_RULER,
        f"{'System Check':<36}Status",
        _THIN_RULER,
        *(f"{name:<36}{value}" for name, value in checks.items()),
        _DOUBLE_RULER,
        *(added if done else []),
        "Operation type: Step-by-step ISSU",
        "Install type  : Image installation using ISSU",
        f"Current state : {words.state}",
        f"Last operation: {words.last}",
        "",
        "Completed operations:",
        "",
        f"{'Operation':<36}Start time",
        _THIN_RULER,
        *(f"{_named(asked, each):<36}{asked.moment(at):%Y-%m-%d:%H:%M:%S}" for each, at in done),
        "",
        f"State transition: {' -> '.join(['Init', *(_TRANSITIONS[each] for each, _ in done)])}",
        "",
        f"Auto abort timer: {timer}",
        "Running image: bootflash:packages.conf",
        _mode(asked, "Operating mode: "),
    ]


def _named(asked: Asked, done: Done) -> str:
    lead, other = asked.recorded.numbers
    return {
        "add": f"Add location active Chassis {lead}",
        "activate-standby": f"Activate location standby Chassis {other}",
        "switch-over": "Switchover",
        "activate-other": f"Activate location standby Chassis {lead}",
    }[done]


def _told_by_older_trains(asked: Asked, step: Step, done: Sequence[tuple[Done, float]]) -> list[str]:
    words, left = _WORDS[step], asked.scene.seconds_left
    slots = asked.recorded.numbers if words.slot is None else (asked.number(words.slot),)
    loaded = [at for each, at in done if each == "activate-standby"]
    rollback = "inactive" if left is None else f"automatic, remaining time before rollback: {countdown(left)}"
    return [
        f"Slot being modified:     {' '.join(str(slot) for slot in sorted(slots))}",
        *(f"Loadversion time:        {asked.moment(at):%Y%m%d %H:%M:%S} on console" for at in loaded),
        f"Last operation:          {words.older}",
        f"Rollback:                {rollback}",
        "Original (rollback) image:  bootflash:packages.conf",
        "Running image:           bootflash:packages.conf",
        _mode(asked, "Operating mode:          "),
    ]


def _mode(asked: Asked, label: str) -> str:
    if asked.peer.away:
        return f"{label}Non-redundant, terminal state reached"
    hot = "STANDBY HOT" in (asked.me.state, asked.peer.state)
    return f"{label}sso, terminal state {'' if hot else 'not '}reached"


_PRINTERS: Mapping[str, Callable[[Asked], str]] = {
    **played_access_points.PRINTERS,
    "show version": _version,
    "show boot": _boot,
    "show rom-monitor chassis active R0": lambda asked: _rom_monitor(asked, active=True),
    "show rom-monitor chassis standby R0": lambda asked: _rom_monitor(asked, active=False),
    "dir bootflash:": lambda asked: _flash(asked, standby=False),
    "dir stby-bootflash:": lambda asked: _flash(asked, standby=True),
    "dir bootflash:core": lambda asked: _flash(asked, standby=False, core=True),
    "dir stby-bootflash:core": lambda asked: _flash(asked, standby=True, core=True),
    "show chassis rmi": _chassis,
    "show redundancy": _redundancy,
    "show install summary": _install_summary,
    "show issu state detail": _issu_state,
    "show redundancy config-sync failures mcl": _mismatched,
    "show redundancy switchover history": _history,
    "show platform software status control-processor brief": _processors,
    "show platform resources": _resources,
    "show ntp status": _ntp,
}
