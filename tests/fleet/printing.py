"""Prints every command's answer on one member of a pair, by the structure that such controllers print.

Each printer takes the pair and the member whose session it is and returns the answer's lines. A command that a later
issue adds to the catalogue gets its printer here.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable

from tests.fleet import printing_radio as radio
from tests.fleet import printing_state as state
from tests.fleet.description import AccessPoint, Controller, File, PairDescription

Printer = Callable[[PairDescription, Controller], list[str]]

MAKER = "Wireless Controller Software"
SUPPORT = "Technical Support: http://support.example.com/wx"
COPYRIGHT = "Copyright (c) 2016-2026 by the makers of the Wireless Controller Software."
REFUSED = ["                     ^", "% Invalid input detected at '^' marker.", ""]

_ACTIVE_ONLY = (
    "dir stby-bootflash:",
    "dir stby-bootflash:core",
    "show ap summary",
    "show ap image",
    "show wireless stats ap join summary",
    "show ap neighbor summary",
    "show ap dot11 5ghz load-info",
    "show ap dot11 24ghz load-info",
    "show wireless summary",
    "show wlan summary",
    "show ap dot11 5ghz summary",
    "show ap dot11 24ghz summary",
)
_LOCATIONS = {"chassis": "{0}", "slots": "{0}/R0"}
_RULER = "-" * 80


def answer(pair: PairDescription, member: Controller, command: str) -> list[str]:
    """The lines that a command prints on a member, before the dress; a refusal where its session may not run it."""
    pair = pair.seen_by(member)
    if command in member.refuses or (command in _ACTIVE_ONLY and not pair.is_active(member)):
        return list(REFUSED)
    return PRINTERS[command](pair, member)


def show_version(pair: PairDescription, member: Controller) -> list[str]:
    """Headlines with the padded and the plain release, uptime, image file, model, mode."""
    reason, returned = member.reload or pair.reload
    ports = ["4 Gigabit Ethernet interfaces"] if member.virtual else ["8 Ten Gigabit Ethernet interfaces"]
    return [
        f"{MAKER}, Version {member.padded}",
        *_software(member),
        "Compiled Fri 20-Mar-26 10:27 by wxbuild",
        "",
        "",
        "ROM: WX-ROMMON" if not member.virtual else "ROM: Bootstrap program",
        f"{member.name} uptime is {member.uptime or pair.uptime}",
        f"Uptime for this control processor is {member.uptime or pair.uptime}",
        f"System returned to ROM by {reason} at {returned}",
        f'System image file is "{member.image_file}"',
        f"Last reload reason: {reason}",
        "",
        "",
        "This product contains cryptographic features and is subject to the laws of the",
        "countries where it is shipped, sold or used.",
        "",
        "Technology Package License Information:",
        "",
        _RULER,
        "Technology    Technology-package                     Technology-package",
        "              Current          Type                  Next reboot",
        _RULER,
        "WX-terminal   wx-advantage     Subscription          wx-advantage",
        "",
        f"wireless {member.model} (WX) processor (revision 1.2) with 14106304K/6147K bytes of memory.",
        f"Processor board ID {member.serial}",
        "2 Virtual Ethernet interfaces",
        *ports,
        "32768K bytes of non-volatile configuration memory.",
        f"{member.flash_total // 1024}K bytes of bootflash at bootflash:.",
        f"Installation mode is {member.install_mode}",
        "",
        "",
        f"Configuration register is {member.config_register}",
        "",
    ]


def _software(member: Controller) -> list[str]:
    software = "WX_VIRTUAL-UNIVERSAL-M" if member.virtual else "WX_HARDWARE-UNIVERSAL-M"
    return [
        f"{MAKER} ({software}), Version {member.release}, RELEASE SOFTWARE (fc3)",
        SUPPORT,
        COPYRIGHT,
    ]


def show_boot(pair: PairDescription, member: Controller) -> list[str]:
    """The boot variables of this member and, on the active one, of the standby as far as it can tell."""
    lines = _boot_lines(pair, member, "")
    if not pair.is_active(member) or pair.peer_lost or not pair.standby_boot_told:
        return [*lines, "", "Standby not ready to show bootvar"]
    return [*lines, "", *_boot_lines(pair, pair.standby_member, "Standby ")]


def _boot_lines(pair: PairDescription, member: Controller, whose: str) -> list[str]:
    manual = [f"{whose}MANUAL_BOOT variable = no"] if pair.dress_of(pair.active_member).manual_boot_line else []
    return [
        f"{whose}BOOT variable = {_boot(member)}",
        f"{whose}CONFIG_FILE variable = ",
        f"{whose}BOOTLDR variable does not exist",
        f"{whose}Configuration register is {member.config_register}",
        *manual,
    ]


def _boot(member: Controller) -> str:
    return "".join(f"{entry},{number};" for number, entry in enumerate(member.boot, 1))


def show_rom_monitor_active(pair: PairDescription, member: Controller) -> list[str]:
    """The active chassis's ROM monitor, whichever session asks."""
    return _rom_monitor(pair.active_member)


def show_rom_monitor_standby(pair: PairDescription, member: Controller) -> list[str]:
    """The standby chassis's ROM monitor, whichever session asks."""
    if pair.peer_lost:
        return list(REFUSED)
    return _rom_monitor(pair.standby_member)


def _rom_monitor(member: Controller) -> list[str]:
    if member.virtual:
        return list(REFUSED)
    return [
        f"System Bootstrap, Version {member.rom_monitor}, RELEASE SOFTWARE",
        "Copyright (c) 2016-2025 by the makers.",
    ]


def dir_bootflash(pair: PairDescription, member: Controller) -> list[str]:
    """The member's own flash."""
    return _directory("bootflash", member)


def dir_standby_bootflash(pair: PairDescription, member: Controller) -> list[str]:
    """The standby's flash, seen from the active one."""
    if pair.peer_lost:
        return ["%Error opening stby-bootflash:/ (No such device)", ""]
    return _directory("stby-bootflash", pair.standby_member)


def _directory(name: str, member: Controller) -> list[str]:
    listed = (File("packages.conf", 6_891), *member.files)
    return [
        f"Directory of {name}:/",
        "",
        "11      drwx            16384  Mar 11 2026 09:02:44 +00:00  lost+found",
        "1245185 drwx            12288   Feb 5 2027 20:58:10 +00:00  tracelogs",
        *(
            f"{393217 + place:<7} -rw-  {file.bytes:>15}  {_dated(file, place)}  {file.name}"
            for place, file in enumerate(listed)
        ),
        "655361  drwx             4096  Jun 27 2026 22:44:31 +00:00  core",
        "",
        f"{member.flash_total} bytes total ({member.flash_free} bytes free)",
        "",
    ]


def _dated(file: File, place: int) -> str:
    return file.dated or f"Jun 27 2026 22:3{place % 10}:12 +00:00"


def show_chassis(pair: PairDescription, member: Controller) -> list[str]:
    """Both chassis, the local one marked."""
    shown = pair.dress_of(member).hardware_version
    return [
        f"Chassis/Stack Mac Address : {pair.active_member.mac} - Local Mac Address",
        "Mac persistency wait time: Indefinite",
        "                                             H/W   Current",
        "Chassis#   Role    Mac Address     Priority Version  State                 IP                RMI-IP",
        "-" * 104,
        *(_chassis_row(pair, member, each, version=shown) for each in pair.members),
        "",
    ]


def _chassis_row(pair: PairDescription, teller: Controller, member: Controller, *, version: bool) -> str:
    local = teller.name == member.name
    mark = "*" if local else " "
    told = None if local else teller.peer_mac
    if pair.peer_lost and not pair.is_active(member):
        cells = ("Member", "0000.0000.0000", 0, "V00", "Removed", "0.0.0.0", "0.0.0.0")
    else:
        role = "Active" if pair.is_active(member) else "Standby"
        cells = (role, told or member.mac, member.priority, "V02", "Ready", member.link_address, member.address)
    role, mac, priority, hardware, state, link, address = cells
    return (
        f"{mark}{pair.number(member)}       {role:<8} {mac}     {priority:<6} "
        f"{hardware if version else '':<7} {state:<20} {link:<17} {address}"
    )


def show_redundancy(pair: PairDescription, member: Controller) -> list[str]:
    """The system, the session's own processor, and its peer where there is one."""
    lines = [*_redundant_system(pair, member), "", *_heading("Current Processor Information :")]
    lines += _processor(pair, member)
    other = pair.members[2 - pair.number(member)]
    if pair.peer_lost:
        at = f"slot: {pair.number(other)}, switch: 0"
        return [*lines, "", f"Peer ({at}) information is not available because it is in 'DISABLED' state"]
    return [*lines, "", *_heading("Peer Processor Information :"), *_processor(pair, other), ""]


def _heading(text: str) -> list[str]:
    return [text, "-" * (len(text) - 1)]


def _redundant_system(pair: PairDescription, member: Controller) -> list[str]:
    spelled = pair.dress_of(member).spelled_mode
    modes = {"sso": "Stateful Switchover (SSO)"} if spelled else {}
    return [
        *_heading("Redundant System Information :"),
        _item("Available system uptime", pair.uptime),
        _item("Switchovers system experienced", str(pair.switchovers)),
        _item("Standby failures", str(pair.standby_failures)),
        _item("Last switchover reason", pair.last_switchover_reason),
        "",
        _item("Hardware Mode", "Simplex" if pair.peer_lost else "Duplex"),
        _item("Configured Redundancy Mode", modes.get("sso", "sso")),
        _item("Operating Redundancy Mode", modes.get(pair.operating_mode, pair.operating_mode)),
        _item("Maintenance Mode", "Disabled"),
        _item("Communications", "Down      Reason: Failure" if pair.peer_lost else "Up"),
    ]


def _item(name: str, value: str) -> str:
    return f"{name:>30} = {value}"


def _processor(pair: PairDescription, member: Controller) -> list[str]:
    active = pair.is_active(member)
    image, *rest = _software(member)
    lines = [_item("Image Version", image), *rest]
    if pair.dress.wrapped_image:
        lines = [*textwrap.wrap(lines[0], 80), *rest]
        lines = _wrapped_before_release(lines, member)
    return [
        _item("Active Location" if active else "Standby Location", f"slot {pair.number(member)}"),
        _item("Current Software state", "ACTIVE" if active else pair.standby_state),
        _item("Uptime in current state", pair.state_uptime or member.uptime or pair.uptime),
        *lines,
        "Compiled Fri 20-Mar-26 10:27 by wxbuild",
        _item("BOOT", _boot(member)),
        _item("CONFIG_FILE", ""),
        _item("Configuration register", member.config_register),
        _item("Recovery mode", "Not Applicable"),
        _item("Fast Switchover", "Enabled"),
        _item("Initial Garp", "Enabled"),
    ]


def _wrapped_before_release(lines: list[str], member: Controller) -> list[str]:
    """The worst wrap there is: the word Version ends one line and the release begins the next."""
    text = "\n".join(lines).replace(f"Version {member.release}", f"Version\n{member.release}")
    return text.split("\n")


def show_romvar(pair: PairDescription, member: Controller) -> list[str]:
    """The ROM monitor's variables; a virtual controller's hold the redundancy interface."""
    dress = pair.dress_of(member)
    values = {"BOOT": _boot(member), "SWITCH_NUMBER": str(pair.number(member)), "CONFIG_FILE": ""}
    values["SWITCH_PRIORITY"] = str(member.priority)
    if member.virtual:
        other = pair.members[2 - pair.number(member)]
        values |= {
            "CHASSIS_HA_IFNAME": member.link_interface,
            "CHASSIS_HA_LOCAL_IP": member.link_address,
            "CHASSIS_HA_LOCAL_MASK": "255.255.255.0",
            "CHASSIS_HA_REMOTE_IP": other.link_address,
            "BOOT_PARAM": "console=ttyS0 root=rw",
        }
    else:
        values |= {"PS1": "rommon ! >", "SR_INIT_SEED": "u3Xr2w7A==", "LICENSE_BOOT_LEVEL": "wx-advantage,all:wx;"}
    equals = "=" if dress.tight_variables else " = "
    quote = '"' if dress.quoted_variables else ""
    return ["ROMMON variables:", *(f"{name}{equals}{quote}{value}{quote}" for name, value in values.items()), ""]


def show_install_summary(pair: PairDescription, member: Controller) -> list[str]:
    """One block for both chassis, or one each where they differ."""
    dress = pair.dress_of(member)
    present = [pair.active_member] if pair.peer_lost else list(pair.members)
    if dress.scopes == "R0":
        return [*_scope("R0", member), *_timer(pair)]
    number = _LOCATIONS[dress.scopes]
    if all(each.installed == present[0].installed for each in present):
        locations = "Chassis " + " ".join(number.format(pair.number(each)) for each in present)
        return [*_scope(locations, present[0]), *([] if dress.timer == "never" else _timer(pair))]
    lines: list[str] = []
    for each in present:
        lines += _scope("Chassis " + number.format(pair.number(each)), each)
        lines += _timer(pair) if dress.timer == "each" else []
    return lines if dress.timer != "once" else [*lines, *_timer(pair)]


def _scope(locations: str, member: Controller) -> list[str]:
    rows = [f"{package.type:<5} {package.state}    {package.name}" for package in member.installed]
    return [
        f"[ {locations} ] Installed Package(s) Information:",
        "State (St): I - Inactive, U - Activated & Uncommitted,",
        "            C - Activated & Committed, D - Deactivated & Uncommitted",
        _RULER,
        "Type  St   Filename/Version",
        _RULER,
        *(rows or ["No packages"]),
        "",
    ]


def _timer(pair: PairDescription) -> list[str]:
    state = "inactive"
    if pair.auto_abort is not None:
        state = f"active on install_activate, time before rollback - {pair.auto_abort}"
    return [_RULER, f"Auto abort timer: {state}", _RULER, ""]


def show_issu_state(pair: PairDescription, member: Controller) -> list[str]:
    """The lock lines, then that nothing is in progress, or what is."""
    number = pair.number(member)
    lines = [
        f"--- Starting local lock acquisition on chassis {number} ---",
        f"Finished local lock acquisition on chassis {number}",
        "",
    ]
    if pair.upgrade:
        return [*lines, *pair.upgrade, ""]
    if pair.dress_of(member).system_checks:
        lines += _system_checks(pair)
    return [*lines, "No ISSU operation is in progress", ""]


def _system_checks(pair: PairDescription) -> list[str]:
    yes = {True: "Yes", False: "No"}
    checks = {
        "Platform ISSU Support": "Yes",
        "Standby Online": yes[not pair.peer_lost],
        "Autoboot Enabled": "Yes",
        "SSO Mode": yes[pair.operating_mode == "sso"],
        "Install Boot": yes[all(each.install_mode == "INSTALL" for each in pair.members)],
        "Valid Boot Media": "Yes",
        "Operational Mode": "HA-REMOTE",
    }
    return [
        "Current ISSU Status: Disabled",
        "Previous ISSU Operation: N/A",
        "=" * 55,
        f"{'System Check':<36}Status",
        "-" * 55,
        *(f"{name:<36}{value}" for name, value in checks.items()),
        "=" * 55,
        "",
    ]


def show_mismatched(pair: PairDescription, member: Controller) -> list[str]:
    """The mismatched-command list."""
    return _list("Mismatched Command List", pair.mismatched)


def show_best_effort(pair: PairDescription, member: Controller) -> list[str]:
    """The commands that failed on the standby and were let pass."""
    return _list("Best Effort Method List", pair.best_effort)


def show_parser_return(pair: PairDescription, member: Controller) -> list[str]:
    """The commands whose parser return code differed."""
    return _list("PRC Failed Command List", pair.parser_return)


def show_ignored(pair: PairDescription, member: Controller) -> list[str]:
    """The mismatched commands that somebody told the controller to ignore."""
    return _list("Ignored Mismatched Command List", pair.ignored)


def _list(heading: str, lines: tuple[str, ...]) -> list[str]:
    return [heading, "-" * len(heading), "", *(lines or ("The list is Empty",)), ""]


def show_ap_summary(pair: PairDescription, member: Controller) -> list[str]:
    """The access points, in one of the two column orders."""
    dress = pair.dress_of(member)
    order = _ADDRESS_FIRST if dress.access_point_columns == "address first" else _COUNTRY_FIRST
    heading = [_row(order, [name for name, *_ in order]), "-" * sum(width + 1 for _, width, _ in order)]
    rows = [_row(order, [value(each) for *_, value in order]) for each in _joined(pair)]
    return [f"Number of APs: {len(rows)}", "", *radio.headed(heading, rows, dress.heading_every), ""]


Column = tuple[str, int, Callable[[AccessPoint], str]]
_COMMON: tuple[Column, ...] = (
    ("AP Name", 32, lambda ap: ap.name),
    ("Slots", 6, lambda ap: str(ap.slots)),
    ("AP Model", 20, lambda ap: ap.model),
    ("Ethernet MAC", 15, lambda ap: _ethernet_mac(ap)),
    ("Radio MAC", 15, lambda ap: _radio_mac(ap)),
)
_LOCATION: Column = ("Location", 32, lambda ap: ap.location)
_COUNTRY: Column = ("Country", 10, lambda ap: ap.country)
_ADDRESS: Column = ("IP Address", 40, lambda ap: ap.address)
_STATE: Column = ("State", 13, lambda ap: ap.state)
_ADDRESS_FIRST = (*_COMMON, _LOCATION, _COUNTRY, _ADDRESS, _STATE)
_COUNTRY_FIRST = (
    *_COMMON,
    ("CC", 4, lambda ap: ap.country),
    ("RD", 4, lambda ap: "-E"),
    _ADDRESS,
    _STATE,
    _LOCATION,
)


def _ethernet_mac(ap: AccessPoint) -> str:
    return _mac(0x10_0000 + ap.number)


def _radio_mac(ap: AccessPoint) -> str:
    return ap.radio_mac


def _mac(number: int) -> str:
    """A locally administered address."""
    return f"0200.5e{number >> 16 & 0xFF:02x}.{number & 0xFFFF:04x}"


def _row(order: tuple[Column, ...], cells: list[str]) -> str:
    return " ".join(f"{cell:<{width}}" for cell, (_, width, _) in zip(cells, order, strict=True))


def show_ap_image(pair: PairDescription, member: Controller) -> list[str]:
    """Which image each access point holds, and how far the target's has come."""
    release, target = (f"{each.rstrip('abc')}.27" for each in (pair.active_member.release, pair.target_release))
    heading = [
        f"{'AP Name':<32} {'Primary Image':<16} {'Backup Image':<16} {'Predownload Status':<20} "
        f"{'Predownload Version':<20} {'Next Retry Time':<16} {'Retry Count':<12} Method",
        "-" * 150,
    ]
    rows = [_image_row(ap, release, target) for ap in _joined(pair)]
    return [
        f"Total number of APs  : {len(rows)}",
        "",
        "Number of APs",
        *(
            f"        {label:<27}: {sum(ap.staging == status for ap in _joined(pair))}"
            for label, status in _COUNTS.items()
        ),
        "",
        *radio.headed(heading, rows, pair.dress_of(member).heading_every),
        "",
    ]


# What the controller counts, by the status that a row of the table has.
_COUNTS = {
    "Initiated": "Initiated",
    "Downloading": "Downloading",
    "Predownloading": "Predownloading",
    "Completed downloading": "Downloaded",
    "Completed predownloading": "Complete",
    "Not Supported": "Unsupported",
    "Failed to Predownload": "Failed",
}


def _image_row(ap: AccessPoint, release: str, target: str) -> str:
    backup = target if ap.staging == "Complete" else "17.3.6.76"
    version = "0.0.0.0" if ap.staging == "None" else target
    retries, retry_at, method = "0", "N/A", "N/A" if ap.staging == "None" else "CAPWAP"
    if ap.staging == "Failed":
        retries, retry_at = "3", "22:14:30"
    return (
        f"{ap.name:<32} {release:<16} {backup:<16} {ap.staging:<20} {version:<20} {retry_at:<16} {retries:<12} {method}"
    )


def _joined(pair: PairDescription) -> tuple[AccessPoint, ...]:
    return tuple(ap for ap in pair.access_points if ap.failure is None)


def show_join_summary(pair: PairDescription, member: Controller) -> list[str]:
    """Every access point that the controller knows, joined or not."""
    rows = []
    for ap in pair.access_points:
        status = "Joined" if ap.failure is None else "Not Joined"
        phase, reason = ap.failure or ("NA", "NA")
        base, ethernet = _radio_mac(ap), _ethernet_mac(ap)
        rows.append(f"{base:<17}{ethernet:<17}{ap.name:<33}{ap.address:<18}{status:<13}{phase:<21}{reason}")
    heading = (
        f"{'Base MAC':<17}{'Ethernet MAC':<17}{'AP Name':<33}{'IP Address':<18}{'Status':<13}"
        f"{'Last Failure Phase':<21}Last Disconnect Reason"
    )
    return [f"Number of APs: {len(rows)}", "", heading, "-" * 150, *rows, ""]


def show_switchover_history(pair: PairDescription, member: Controller) -> list[str]:
    """The switchovers since the history began."""
    return [
        "Index  Previous  Current  Switchover             Switchover",
        "       active    active   reason                 time",
        "-----  --------  -------  ----------             ----------",
        *(
            f"{index:>4} {row.before:>7} {row.after:>8}     {row.reason:<22} {state.clock_time(pair, row.time)}"
            for index, row in enumerate(pair.history, 1)
        ),
        "",
    ]


PRINTERS: dict[str, Printer] = {
    "show version": show_version,
    "show boot": show_boot,
    "show rom-monitor chassis active R0": show_rom_monitor_active,
    "show rom-monitor chassis standby R0": show_rom_monitor_standby,
    "dir bootflash:": dir_bootflash,
    "dir stby-bootflash:": dir_standby_bootflash,
    "show chassis rmi": show_chassis,
    "show redundancy": show_redundancy,
    "show romvar": show_romvar,
    "show install summary": show_install_summary,
    "show issu state detail": show_issu_state,
    "show redundancy config-sync failures mcl": show_mismatched,
    "show redundancy config-sync failures bem": show_best_effort,
    "show redundancy config-sync failures prc": show_parser_return,
    "show redundancy config-sync ignored failures mcl": show_ignored,
    "show ap summary": show_ap_summary,
    "show ap image": show_ap_image,
    "show redundancy switchover history": show_switchover_history,
    "show wireless stats ap join summary": show_join_summary,
    "show platform software status control-processor brief": state.show_control_processors,
    "show platform resources": state.show_platform_resources,
    "show ntp status": state.show_ntp_status,
    "show clock": state.show_clock,
    "show wireless management trustpoint": state.show_trustpoint,
    "show crypto pki certificates": state.show_certificates,
    "show running-config | include Last configuration change": state.show_last_change,
    "show running-config | include NVRAM config last updated": state.show_last_save,
    "dir bootflash:core": state.dir_core,
    "dir stby-bootflash:core": state.dir_standby_core,
    "show ap neighbor summary": radio.show_neighbours,
    "show ap dot11 5ghz load-info": radio.show_load_at_5,
    "show ap dot11 24ghz load-info": radio.show_load_at_24,
    "show wireless summary": radio.show_wireless_summary,
    "show wlan summary": radio.show_wlans,
    "show ap dot11 5ghz summary": radio.show_radios_at_5,
    "show ap dot11 24ghz summary": radio.show_radios_at_24,
}
