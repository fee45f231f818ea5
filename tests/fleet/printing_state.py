"""Prints what a controller tells of its own state: processors, clock, certificates, saved configuration, cores."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from tests.fleet.description import Controller, PairDescription

# Clocks that go by the same offset all year.
_FIXED: dict[str, tzinfo] = {"CET": timezone(timedelta(hours=1), "CET"), "UTC": UTC}
_TOTAL_KILOBYTES = 7_767_120
_CORES = 4
_LOADS = (0.24, 0.31, 0.29)


def clock_time(pair: PairDescription, moment: datetime, *, milliseconds: bool = False) -> str:
    """A moment as the pair's own clocks print it: 22:00:02.132 CET Fri Feb 5 2027."""
    local = moment.astimezone(_FIXED.get(pair.zone) or ZoneInfo(pair.zone))
    fraction = f".{local.microsecond // 1000:03d}" if milliseconds else ""
    return f"{local:%H:%M:%S}{fraction} {local.tzname()} {local:%a %b} {local.day} {local.year}"


def show_clock(pair: PairDescription, member: Controller) -> list[str]:
    """The time, marked `*` where it is not authoritative."""
    moment = pair.asked + timedelta(seconds=member.clock_ahead)
    return [("" if member.synchronised else "*") + clock_time(pair, moment, milliseconds=True)]


def show_ntp_status(pair: PairDescription, member: Controller) -> list[str]:
    """Whether the clock is synchronised, by whom, and how far it is off."""
    if not member.synchronised:
        return [
            "Clock is unsynchronized, stratum 16, no reference clock",
            "nominal freq is 250.0000 Hz, actual freq is 250.0000 Hz, precision is 2**10",
            "ntp uptime is 1894320000 (1/100 of seconds), resolution is 4000",
            "reference time is 00000000.00000000 (01:00:00.000 CET Mon Jan 1 1900)",
            "clock offset is 0.0000 msec, root delay is 0.00 msec",
            "root dispersion is 15937.51 msec, peer dispersion is 15937.50 msec",
            "loopfilter state is 'FSET' (Drift set from file), drift is 0.000004365 s/s",
            "system poll interval is 64, never updated.",
        ]
    heard = clock_time(pair, pair.asked - timedelta(minutes=5, seconds=52), milliseconds=True)
    return [
        "Clock is synchronized, stratum 3, reference is 192.0.2.250",
        "nominal freq is 250.0000 Hz, actual freq is 249.9989 Hz, precision is 2**10",
        "ntp uptime is 1894320000 (1/100 of seconds), resolution is 4000",
        f"reference time is ED2A5B62.3B645A1D ({heard})",
        "clock offset is -0.4321 msec, root delay is 1.23 msec",
        "root dispersion is 14.02 msec, peer dispersion is 2.11 msec",
        "loopfilter state is 'CTRL' (Normal Controlled Loop), drift is 0.000004365 s/s",
        "system poll interval is 1024, last update was 352 sec ago.",
    ]


def show_control_processors(pair: PairDescription, member: Controller) -> list[str]:
    """Load, memory and cores, as tables or in blocks."""
    layout = pair.dress_of(member).processor_layout
    if layout == "blocks":
        return _processor_blocks(member)
    slots = {"RP0": member}
    if layout == "tables of both" and not pair.peer_lost:
        both = pair.members if pair.is_active(member) else (member,)
        slots = {f"{pair.number(each)}-RP0": each for each in both}
    return _processor_tables(slots)


def _memory(member: Controller) -> tuple[int, int, int, int]:
    """Used, free and committed kilobytes, and the per cent that is committed."""
    used = _TOTAL_KILOBYTES * member.memory_used // 100
    share = min(member.memory_used + 1, 100)
    return used, _TOTAL_KILOBYTES - used, _TOTAL_KILOBYTES * share // 100, share


def _memory_status(member: Controller) -> str:
    if member.memory_used >= 93:
        return "Critical"
    return "Warning" if member.memory_used >= 88 else "Healthy"


def _processor_tables(slots: dict[str, Controller]) -> list[str]:
    loads = " ".join(f"{load:>6.2f}" for load in _LOADS)
    lines = ["Load Average", f"{'Slot':>7}  Status  1-Min  5-Min 15-Min"]
    lines += [f"{slot:>7} Healthy {loads}" for slot in slots]
    lines += ["", "Memory (kB)", f"{'Slot':>7}  Status    Total     Used (Pct)     Free (Pct) Committed (Pct)"]
    for slot, member in slots.items():
        used, free, committed, share = _memory(member)
        cells = f"{used:>8} ({member.memory_used:>2}%) {free:>8} ({100 - member.memory_used:>2}%)"
        lines.append(f"{slot:>7} {_memory_status(member)} {_TOTAL_KILOBYTES:>8} {cells}  {committed:>8} ({share:>2}%)")
    lines += ["", "CPU Utilization", f"{'Slot':>7}  CPU   User System   Nice   Idle    IRQ   SIRQ IOwait"]
    for slot in slots:
        for core in range(_CORES):
            name = "" if core else slot
            lines.append(f"{name:>7} {core:>4}   1.50   0.90   0.00  97.60   0.00   0.00   0.00")
    return [*lines, ""]


def _processor_blocks(member: Controller) -> list[str]:
    used, free, committed, share = _memory(member)
    status = _memory_status(member).lower()
    lines = ["RP0: online, statistics updated 3 seconds ago", "Load Average: healthy"]
    for minutes, load in zip((1, 5, 15), _LOADS, strict=True):
        lines.append(f"  {minutes}-Min: {load:.2f}, status: healthy, under 5.00")
    lines += [
        f"Memory (kb): {status}",
        f"  Total: {_TOTAL_KILOBYTES}",
        f"  Used: {used} ({member.memory_used}%), status: {status}",
        f"  Free: {free} ({100 - member.memory_used}%)",
        f"  Committed: {committed} ({share}%), {'over' if share > 90 else 'under'} 90%",
        "Per-core Statistics",
    ]
    for core in range(_CORES):
        lines += [
            f"CPU{core}: CPU Utilization (percentage of time spent)",
            "  User:  1.50, System:  0.90, Nice:  0.00, Idle: 97.60",
            "  IRQ:  0.00, SIRQ:  0.00, IOwait:  0.00",
        ]
    return [*lines, ""]


def show_platform_resources(pair: PairDescription, member: Controller) -> list[str]:
    """Each component's resources, with their limits and a letter for their state."""
    letter = _memory_status(member)[0]
    role = "active" if pair.is_active(member) else "standby"
    total = 15_709
    memory = f"{total * member.memory_used // 100}MB({member.memory_used}%)"
    flash_used = (member.flash_total - member.flash_free) // 1_048_576
    flash = f"{flash_used}MB({flash_used * 100 // (member.flash_total // 1_048_576)}%)"
    data_plane = "" if member.virtual else f"{'  TCAM':<25}{'60cells(0%)':<22}{'1048576cells':<16}65%             85%"
    rows = [
        f"{f'RP0 (ok, {role})':<95}{letter}",
        f"{' Control Processor':<25}{'3.52%':<22}{'100%':<16}{'80%':<16}{'90%':<16}H",
        f"{'  DRAM':<25}{memory:<22}{f'{total}MB':<16}{'88%':<16}{'93%':<16}{letter}",
        f"{'  bootflash':<25}{flash:<22}{f'{member.flash_total // 1_048_576}MB':<16}{'88%':<16}{'93%':<16}H",
        f"{f'ESP0(ok, {role})':<95}H",
        f"{' QFP':<95}H",
        *([f"{data_plane:<95}H"] if data_plane else []),
        f"{'  DRAM':<25}{'359MB(4%)':<22}{'8192MB':<16}{'85%':<16}{'95%':<16}H",
        f"{'  CPU Utilization':<25}{'0.00%':<22}{'100%':<16}{'90%':<16}{'95%':<16}H",
    ]
    heading = f"{'Resource':<25}{'Usage':<22}{'Max':<16}{'Warning':<16}{'Critical':<16}State"
    return ["**State Acronym: H - Healthy, W - Warning, C - Critical", heading, "-" * 100, *rows, ""]


def show_trustpoint(pair: PairDescription, member: Controller) -> list[str]:
    """The trustpoint that access points join with."""
    return [
        f"Trustpoint Name  : {_trustpoint(pair)}",
        "Certificate Info : Available",
        "Certificate Type : SSC",
        f"Certificate Hash : {sum(pair.name.encode()):04x}8c1f2b7e5d904a63f0d7c2b91e845a6d07f3",
        "Private key Info : Available",
        "FIPS suitability : Not Applicable",
        "",
    ]


def show_certificates(pair: PairDescription, member: Controller) -> list[str]:
    """The certificate that access points join with, and its issuer's."""
    name, (start, end) = _trustpoint(pair), pair.certificate
    issuer = f"    cn=CA-{pair.name}"
    validity = ["  Validity Date: ", f"    start date: {_dated(pair, start)}", f"    end   date: {_dated(pair, end)}"]
    return [
        "Certificate",
        "  Status: Available",
        "  Certificate Serial Number (hex): 02",
        "  Certificate Usage: General Purpose",
        "  Issuer: ",
        "    o=Ferry Terminals",
        issuer,
        "  Subject:",
        f"    Name: {pair.name}",
        "    o=Ferry Terminals",
        f"    cn={name}",
        *validity,
        f"  Associated Trustpoints: {name} ",
        "  Storage: nvram:FerryTermina#2.cer",
        "",
        "CA Certificate",
        "  Status: Available",
        "  Certificate Serial Number (hex): 01",
        "  Certificate Usage: Signature",
        "  Issuer: ",
        "    o=Ferry Terminals",
        issuer,
        "  Subject: ",
        "    o=Ferry Terminals",
        issuer,
        *validity,
        f"  Associated Trustpoints: {name} ",
        "  Storage: nvram:FerryTermina#1CA.cer",
        "",
    ]


def _trustpoint(pair: PairDescription) -> str:
    return f"{pair.name}_join"


def _dated(pair: PairDescription, moment: datetime) -> str:
    """A certificate's times have no weekday."""
    time, zone, _, *date = clock_time(pair, moment).split()
    return " ".join((time, zone, *date))


def show_last_change(pair: PairDescription, member: Controller) -> list[str]:
    """When the running configuration was changed last, and by whom."""
    return [f"! Last configuration change at {clock_time(pair, pair.changed)} by operator"]


def show_last_save(pair: PairDescription, member: Controller) -> list[str]:
    """When the configuration was saved last, and by whom."""
    return [f"! NVRAM config last updated at {clock_time(pair, pair.saved)} by operator"]


def dir_core(pair: PairDescription, member: Controller) -> list[str]:
    """The member's own core files."""
    return _cores("bootflash", member)


def dir_standby_core(pair: PairDescription, member: Controller) -> list[str]:
    """The standby's core files, seen from the active one."""
    if pair.peer_lost:
        return ["%Error opening stby-bootflash:/core/ (No such device)", ""]
    return _cores("stby-bootflash", pair.standby_member)


def _cores(name: str, member: Controller) -> list[str]:
    return [
        f"Directory of {name}:/core/",
        "",
        "655363  drwx             4096  Jun 27 2026 22:44:31 +00:00  modules",
        *(
            f"{655364 + place:<7} -rw-  {core.bytes:>15}   {core.dated}  {core.name}"
            for place, core in enumerate(member.cores)
        ),
        "",
        f"{member.flash_total} bytes total ({member.flash_free} bytes free)",
        "",
    ]
