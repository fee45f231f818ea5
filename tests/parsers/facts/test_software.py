"""`show version`, `show boot`, ROM monitor and its variables. Structures: DESIGN section 5."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parsers import Facts, Unreadable, read
from parsers.facts.software import Boot, RomMonitorVersion, RomVariables, Version
from parsers.release import Release, RomMonitor
from tests.parsers.dressing import assert_reads_alike, cited, cut, garbled, shortened

VERSION = """\
Wireless Controller Software, Version 17.09.04a
Wireless Controller Software (WX_HARDWARE-UNIVERSAL-M), Version 17.9.4a, RELEASE SOFTWARE (fc3)
Technical Support: http://support.example.com/wx
code licensed under GPL Version 2.0 is free software that comes
ROM: System Bootstrap, Version 17.12.1r, RELEASE SOFTWARE
BOOTLDR: System Bootstrap, Version 17.12.1r, RELEASE SOFTWARE

quay-a uptime is 3 weeks, 2 days, 4 hours, 12 minutes
Uptime for this control processor is 3 weeks, 2 days, 4 hours, 15 minutes
System image file is "bootflash:packages.conf"
Last reload reason: Reload Command

wireless WX-9840 (1GL) processor (revision 1GL) with 3854321K/6147K bytes of memory.
Processor board ID WXS27A00000
Installation mode is INSTALL

Configuration register is 0x102
"""


def version(text: str) -> Version:
    facts = read("show version", text)
    assert isinstance(facts, Version)
    return facts


def boot(text: str) -> Boot:
    facts = read("show boot", text)
    assert isinstance(facts, Boot)
    return facts


def rom_monitor(text: str) -> str | None:
    facts = read("show rom-monitor chassis active R0", text)
    assert isinstance(facts, RomMonitorVersion)
    return facts.version


def variables(text: str) -> Any:
    facts = read("show romvar", text)
    assert isinstance(facts, RomVariables)
    return facts.variables


def assert_never_better(command: str, text: str, better: Callable[[Any, Any], bool], *, lines: bool = True) -> None:
    """No loss makes the facts `better(before, after)`; `lines` says whether single lines may be lost, too."""
    before = read(command, text)
    tried = 0
    for name, damaged in _damaged(text, lines=lines):
        try:
            after = read(command, damaged)
        except Unreadable:
            continue
        tried += 1
        assert not better(before, after), name
    assert tried > 10


def _damaged(text: str, *, lines: bool) -> Iterator[tuple[str, str]]:
    yield from cut(text)
    yield from garbled(text)
    if lines:
        yield from shortened(text)


# show version


def test_version_of_a_healthy_controller() -> None:
    facts = version(VERSION)
    assert facts == Version(
        release="17.9.4a",
        install_mode="install",
        model="WX-9840",
        image_file="bootflash:packages.conf",
        uptime_seconds=((3 * 7 + 2) * 24 + 4) * 3600 + 12 * 60,
        last_reload_reason="Reload Command",
        serial="WXS27A00000",
    )
    assert facts.at == {
        "release": (1, 2),
        "model": (13,),
        "install_mode": (15,),
        "image_file": (10,),
        "uptime_seconds": (8,),
        "last_reload_reason": (11,),
        "serial": (14,),
    }


def test_version_in_every_dress() -> None:
    assert_reads_alike("show version", VERSION)


@pytest.mark.parametrize(
    ("line", "model"),
    [
        ("wireless WX-VC (VXE) processor (revision VXE) with 3854321K/3075K bytes of memory.", "WX-VC"),
        ("word WX-9880-K9 (2GL) processor with 14106304K/6147K bytes of memory.", "WX-9880-K9"),
        ("word WX-9880 processor (revision 2GL) with 14106304K/6147K bytes of memory.", "WX-9880"),
    ],
)
def test_version_tells_the_model(line: str, model: str) -> None:
    assert version(line).model == model


@pytest.mark.parametrize(
    "line",
    [
        "Any Maker Wireless XE Software, Version 17.09.04a",
        "Any Maker Software [Train], Virtual XE Software (X-UNIVERSAL-M), Version 17.9.4a, RELEASE SOFTWARE (fc3)",
        "Software, Version 17.09.04a.0.6",
    ],
)
def test_version_does_not_depend_on_the_makers_words(line: str) -> None:
    assert version(line).release == "17.9.4a"


@pytest.mark.parametrize(
    ("uptime", "seconds"),
    [
        ("1 minute", 60),
        ("1 year, 1 week, 1 day, 1 hour, 1 minute", (365 + 7 + 1) * 86_400 + 3_660),
        ("2 years, 3 weeks", (2 * 365 + 21) * 86_400),
        ("5 hours, 2 minutes", 18_120),
        ("forever", None),
        ("5 hours, ~ minutes", None),
        ("2 minutes, 5 hours", None),
    ],
)
def test_version_tells_the_uptime(uptime: str, seconds: int | None) -> None:
    facts = version(f"quay-a uptime is {uptime}\nInstallation mode is INSTALL")
    assert facts.uptime_seconds == seconds
    assert ("uptime_seconds" in facts.at) is (seconds is not None)


@pytest.mark.parametrize(
    ("printed", "mode"),
    [("INSTALL", "install"), ("BUNDLE", "bundle"), ("install", "install"), ("INST#LL", None), ("INSTALL?", None)],
)
def test_version_tells_the_mode_exactly_or_not_at_all(printed: str, mode: str | None) -> None:
    facts = version(f"Software, Version 17.9.4\nInstallation mode is {printed}")
    assert facts.install_mode == mode
    assert ("install_mode" in facts.at) is (mode is not None)


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        (("17.09.04a", "17.09.04"), "lines 1 and 2 contradict each other about the release"),
        (("Version 17.9.4a", "Version 17.9.x"), "a headline's release can't be read: 17.9.x"),
        (("Processor board", "Installation mode is BUNDLE\nProcessor board"), "lines 14 and 16 contradict .* mode"),
        (("Processor board", "word WX-9880 processor with 1K bytes\nProcessor board"), "lines 13 and 14 .* the model"),
    ],
)
def test_version_that_contradicts_itself_is_unreadable(change: tuple[str, str], problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        version(VERSION.replace(*change))


def test_version_without_anything_of_use_is_unreadable() -> None:
    with pytest.raises(Unreadable, match="no line tells the release, the model or the installation mode"):
        version("quay-a uptime is 1 day\nProcessor board ID X")


def test_version_never_gets_better() -> None:
    text = VERSION.replace("INSTALL", "BUNDLE").replace("WX-9840", "WX-1")

    def better(before: Version, after: Version) -> bool:
        newer = after.release is not None and Release.parse(after.release) > Release.parse(before.release or "")
        return after.install_mode == "install" or after.model == "WX-9840" or newer

    assert_never_better("show version", text, better)


# show boot

STANDBY_LINES = """
Standby BOOT variable = bootflash:old.conf,1;
Standby CONFIG_FILE variable =
Standby BOOTLDR variable does not exist
Standby Configuration register is 0x102
Standby MANUAL_BOOT variable = no
"""
OWN_LINES = """\
BOOT variable = bootflash:packages.conf,1;bootflash:wx old.bin,12;
CONFIG_FILE variable =
BOOTLDR variable does not exist
Configuration register is 0x102
"""
BOOT = OWN_LINES + "MANUAL_BOOT variable = no\n" + STANDBY_LINES
NOT_READY = "\nStandby not ready to show bootvar\n"


def test_boot_of_a_healthy_pair() -> None:
    facts = boot(BOOT)
    assert facts == Boot(
        boot=("bootflash:packages.conf", "bootflash:wx old.bin"),
        peer_boot=("bootflash:old.conf",),
        config_register="0x102",
        peer_config_register="0x102",
        manual_boot=False,
        peer_manual_boot=False,
    )
    assert facts.at == {
        "boot": (1,),
        "peer_boot": (7,),
        "config_register": (4,),
        "peer_config_register": (10,),
        "manual_boot": (5,),
        "peer_manual_boot": (11,),
    }


@pytest.mark.parametrize("text", [BOOT, OWN_LINES + NOT_READY])
def test_boot_in_every_dress(text: str) -> None:
    assert_reads_alike("show boot", text)


@pytest.mark.parametrize(
    ("printed", "entries"),
    [
        ("= bootflash:packages.conf,1;", ("bootflash:packages.conf",)),
        ("= bootflash:packages.conf", ("bootflash:packages.conf",)),
        ("= bootflash:packages.conf,12; ;", ("bootflash:packages.conf",)),
        ("= a;b,2;c", ("a", "b", "c")),
        ("= boot#lash:pack~ges,1;", ("boot#lash:pack~ges",)),
        ("= tftp:x,y,1;", ("tftp:x,y",)),
        ("=", ()),
        ("does not exist", ()),
    ],
)
def test_boot_variable_is_kept_as_printed_entry_by_entry(printed: str, entries: tuple[str, ...]) -> None:
    assert boot(f"BOOT variable {printed}").boot == entries
    assert boot(f"Standby BOOT variable {printed}").peer_boot == entries
    assert boot(f"Standby BOOT variable {printed}").boot is None


def test_boot_without_a_ready_standby_knows_nothing_of_it() -> None:
    facts = boot(OWN_LINES + NOT_READY)
    assert facts.peer_boot is None
    assert "peer_boot" not in facts.at


@pytest.mark.parametrize(
    ("value", "manual"),
    [("= no", False), ("= yes", True), ("= YES", True), ("does not exist", False), ("= n0", None), ("=", None)],
)
def test_manual_boot_is_read_exactly(value: str, manual: bool | None) -> None:
    text = f"{OWN_LINES}MANUAL_BOOT variable {value}\n{NOT_READY}"
    assert boot(text).manual_boot is manual
    assert ("manual_boot" in boot(text).at) is (manual is not None)


def test_manual_boot_under_its_other_name() -> None:
    assert boot(f"{OWN_LINES}Manual Boot = yes\n{NOT_READY}").manual_boot is True


@pytest.mark.parametrize(
    ("text", "proven"),
    [
        (OWN_LINES + NOT_READY, True),
        (OWN_LINES + STANDBY_LINES.replace("Standby MANUAL_BOOT variable = no\n", ""), True),
        ("quay-a#show boot\r\n" + OWN_LINES + NOT_READY, True),
        (OWN_LINES, False),
        (OWN_LINES + STANDBY_LINES, False),
        (OWN_LINES + "MANUAL_B~~T variable = yes" + NOT_READY, False),
        (OWN_LINES + "~" + NOT_READY, False),
        (OWN_LINES + "SOMETHING variable = yes" + NOT_READY, False),
        (NOT_READY + OWN_LINES, False),
        (OWN_LINES.replace("0x102", "0x1~2") + NOT_READY, False),
        ("BOOT variable = a" + STANDBY_LINES[:48] + OWN_LINES, False),
    ],
)
def test_a_missing_line_about_manual_boot_is_off_only_where_the_rest_proves_it(text: str, proven: bool) -> None:
    """An older train prints no such line (DESIGN section 4); a text that lost it must not look like that."""
    try:
        facts = boot(text)
    except Unreadable:
        assert not proven
        return
    assert facts.manual_boot is (False if proven else None)
    assert "manual_boot" not in facts.at


def test_config_register_with_the_next_one() -> None:
    facts = boot(
        "Configuration register is 0x102 (will be 0x2142 at next reload)\nStandby Configuration register is 0x0"
    )
    assert (facts.config_register, facts.next_config_register) == ("0x102", "0x2142")
    assert (facts.peer_config_register, facts.peer_next_config_register) == ("0x0", None)
    lines = {name: numbers for name, numbers in facts.at.items() if "register" in name}
    assert lines == {"config_register": (1,), "next_config_register": (1,), "peer_config_register": (2,)}


def test_a_missing_config_register_is_unmentioned_only_where_every_line_is_known() -> None:
    assert boot(BOOT).config_register_unmentioned is None
    own = "BOOT variable = bootflash:packages.conf,1;\nManual Boot = no\n"
    assert boot(own).config_register_unmentioned is True
    assert boot(own + "C~nfiguration register is 0x0\n").config_register_unmentioned is None


@pytest.mark.parametrize(
    "text",
    [
        "BOOT variable = a,1;\nBOOT variable = b,1;",
        "Standby BOOT variable = a,1;\nStandby BOOT variable = b,1;",
        "MANUAL_BOOT variable = no\nMANUAL_BOOT variable = yes",
        "MANUAL_BOOT variable = no\nManual Boot = yes",
        "MANUAL_BOOT variable = no\nMANUAL_BOOT variable = n~",
        "Configuration register is 0x102\nConfiguration register is 0x2102",
    ],
)
def test_boot_that_contradicts_itself_is_unreadable(text: str) -> None:
    with pytest.raises(Unreadable, match="lines 1 and 2 contradict each other about"):
        boot(text)


def test_boot_without_anything_of_use_is_unreadable() -> None:
    for text in ("Standby not ready to show bootvar", "CONFIG_FILE variable =", "noise"):
        with pytest.raises(Unreadable, match="no line tells how it boots"):
            boot(text)


@pytest.mark.parametrize(("tail", "lines"), [(STANDBY_LINES, True), (NOT_READY, False)])
def test_boot_never_gets_better(tail: str, lines: bool) -> None:
    """Without the standby's line, the loss of just this one line is an older train's answer: the contract allows it."""
    own = OWN_LINES.replace("packages.conf", "other.bin") + "MANUAL_BOOT variable = yes\n"

    def better(before: Boot, after: Boot) -> bool:
        return after.manual_boot is False or bool(after.boot and "packages.conf" in after.boot[0])

    assert_never_better("show boot", own + tail, better, lines=lines)


# show rom-monitor


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("System Bootstrap, Version 17.12.1r, RELEASE SOFTWARE\nCopyright (c) by the makers", "17.12.1r"),
        ("Version 16.12(3r)", "16.12(3r)"),
        ("System Bootstrap, Version 16.12(3r)", "16.12(3r)"),
        ("System Bootstrap, Version 16.12(3)r, RELEASE SOFTWARE (P)", "16.12(3)r"),
        ("Version 17.12.1r\nVersion 17.12.1r", "17.12.1r"),
    ],
)
def test_rom_monitor_as_printed(text: str, printed: str) -> None:
    assert rom_monitor(text) == printed
    assert_reads_alike("show rom-monitor chassis standby R0", text)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("System Bootstrap", "no line tells the version of the ROM monitor"),
        ("System Bootstrap, Version 17.12.1#, RELEASE SOFTWARE", "can't be read: 17.12.1#"),
        ("Version 17.12.1r\nVersion 16.12(3r)", "lines 1 and 2 contradict each other about the version"),
        ("Subversion 17.12.1r", "no line tells"),
    ],
)
def test_rom_monitor_that_is_none_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        rom_monitor(text)


def test_rom_monitor_never_gets_better() -> None:
    def better(before: RomMonitorVersion, after: RomMonitorVersion) -> bool:
        return RomMonitor.parse(after.version or "") > RomMonitor.parse(before.version or "")

    text = "System Bootstrap, Version 16.12(3r), RELEASE SOFTWARE\nCopyright (c) by the makers.\n"
    assert_never_better("show rom-monitor chassis active R0", text, better)


# show romvar

ROM_VARIABLES = """\
ROMMON variables:
BOOT = bootflash:packages.conf,1;
CONFIG_FILE =
PS1 = rommon ! >
SEED="u3Xr2w7A=="
BOOT_PARAM=console=ttyS0 root=rw
CHASSIS_HA_IFNAME = GigabitEthernet3
QUOTE = '
? = 0
"""


def test_rom_variables_of_every_shape() -> None:
    facts = read("show romvar", ROM_VARIABLES)
    assert isinstance(facts, RomVariables)
    assert facts.variables == {
        "BOOT": "bootflash:packages.conf,1;",
        "CONFIG_FILE": "",
        "PS1": "rommon ! >",
        "SEED": "u3Xr2w7A==",
        "BOOT_PARAM": "console=ttyS0 root=rw",
        "CHASSIS_HA_IFNAME": "GigabitEthernet3",
        "QUOTE": "'",
        "?": "0",
    }
    assert facts.at["variables"] == tuple(range(2, 10))
    assert facts.lines_of("variables.CHASSIS_HA_IFNAME") == (7,)
    assert cited(facts, ROM_VARIABLES)["variables.CONFIG_FILE"] == ["CONFIG_FILE ="]


def test_rom_variables_in_every_dress() -> None:
    assert_reads_alike("show romvar", ROM_VARIABLES)


def test_a_variable_given_twice_must_have_one_value() -> None:
    assert variables("A = 1\nA=1") == {"A": "1"}
    with pytest.raises(Unreadable, match=r"lines 1 and 2 contradict each other about the variables\.A"):
        variables("A = 1\nA = 2")


def test_no_variables_are_unreadable() -> None:
    with pytest.raises(Unreadable, match="no line gives a variable"):
        variables("ROMMON variables:")


@given(
    st.dictionaries(
        st.from_regex(r"[A-Z][A-Z0-9_]{0,20}", fullmatch=True),
        st.from_regex(r"[ -~]{0,30}", fullmatch=True),
        min_size=1,
    )
)
def test_variables_are_read_back(written: dict[str, str]) -> None:
    values = {name: value.strip().strip("\"'").strip() for name, value in written.items()}
    assert variables("\n".join(f"{name} = {value}" for name, value in values.items())) == values
    assert variables("\n".join(f'{name}="{value}"' for name, value in values.items())) == values


@pytest.mark.parametrize("text", [VERSION, BOOT, ROM_VARIABLES])
def test_every_fact_can_be_traced_to_the_lines_that_tell_it(text: str) -> None:
    command = {VERSION: "show version", BOOT: "show boot", ROM_VARIABLES: "show romvar"}[text]
    facts: Facts = read(command, text)
    told = {name for name, value in facts.plain().items() if name != "at" and value not in (None, {}, [])}
    assert told <= set(facts.at)
