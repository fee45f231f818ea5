"""The pair's own outputs: chassis, redundancy, lists of the synchronisation. Structures: DESIGN section 5."""

from __future__ import annotations

from typing import Any

import pytest

from parsers import Unreadable, read
from parsers.facts.redundancy import Chassis, ConfigSync, Processor, Redundancy
from tests.parsers.dressing import assert_reads_alike, cited, cut, garbled, shortened

SYSLOG = "*Feb  6 21:14:09.132: %SYS-5-CONFIG_I: Configured from console by vty0"
HEAD = """\
Chassis/Stack Mac Address : 0011.2233.4455 - Local Mac Address
Mac persistency wait time: Indefinite
Local Redundancy Port Type: Twisted Pair
"""
TITLES = "Chassis#   Role    Mac Address     Priority Version  State                 IP                RMI-IP\n"
RULE = "-" * 104 + "\n"
ACTIVE = "*1       Active   0011.2233.4455     2      V02     Ready                169.254.1.2      192.0.2.2\n"
STANDBY = " 2       Standby  0011.2233.4466     1      V02     Ready                169.254.1.3      192.0.2.3\n"
TABLE = HEAD + "                                             H/W   Current\n" + TITLES + RULE


def chassis(text: str) -> Chassis:
    facts = read("show chassis rmi", text)
    assert isinstance(facts, Chassis)
    return facts


def second(row: str) -> dict[str, object]:
    member = chassis(TABLE + ACTIVE + row + "\n").plain()["members"][1]
    assert isinstance(member, dict)
    return member


def test_chassis_of_a_healthy_pair() -> None:
    facts = chassis(TABLE + ACTIVE + STANDBY)
    assert facts.plain() == {
        "members": [
            {
                "number": 1,
                "role": "Active",
                "state": "Ready",
                "mac": "0011.2233.4455",
                "priority": 2,
                "hw_version": "V02",
                "ip": "169.254.1.2",
                "rmi_ip": "192.0.2.2",
                "is_local": True,
            },
            {
                "number": 2,
                "role": "Standby",
                "state": "Ready",
                "mac": "0011.2233.4466",
                "priority": 1,
                "hw_version": "V02",
                "ip": "169.254.1.3",
                "rmi_ip": "192.0.2.3",
                "is_local": False,
            },
        ],
        "at": {"members": [7, 8]},
    }
    assert [member.at for member in facts.members] == [7, 8]


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (
            " 2  Standby  0011.2233.4466  1          Ready  169.254.1.3  192.0.2.3",
            {"hw_version": None, "state": "Ready", "ip": "169.254.1.3", "rmi_ip": "192.0.2.3"},
        ),
        (
            " 2  Standby  0011.2233.4466  1          HA sync in progress  169.254.1.3  192.0.2.3",
            {"hw_version": None, "state": "HA sync in progress", "ip": "169.254.1.3"},
        ),
        (" 2  Standby  0011.2233.4466  1  V01  V-Mismatch  169.254.1.3  NA", {"state": "V-Mismatch", "rmi_ip": None}),
        (" 2  Member   0011.2233.4466  1  V01  Initializing  0.0.0.0  NA", {"role": "Member", "state": "Initializing"}),
        (
            " 2       Member   0000.0000.0000     0      0       Removed              0.0.0.0   NA",
            {"hw_version": "0", "priority": 0, "state": "Removed", "ip": "0.0.0.0", "rmi_ip": None},
        ),
        (
            " 2       Member   0000.0000.0000     0      NA      Removed              --        --",
            {"hw_version": None, "state": "Removed", "ip": None, "rmi_ip": None},
        ),
        (" 2  Member  0000.0000.0000  NA  0  Removed", {"priority": None, "state": "Removed", "ip": None}),
        (
            " 2  Standby  0011.2233.4466  1  V02  Ready  2001:db8::1:3  2001:db8:2::3",
            {"ip": "2001:db8::1:3", "rmi_ip": "2001:db8:2::3"},
        ),
        ("2  Standby  0011.2233.4466  1  V02  Ready  169.254.1.3  192.0.2.3", {"number": 2, "is_local": False}),
        # One address: the heading above it says which.
        (
            " 2       Standby  0011.2233.4466     1      V02     Ready                169.254.1.3      ",
            {"ip": "169.254.1.3", "rmi_ip": None},
        ),
        (
            " 2       Standby  0011.2233.4466     1      V02     Ready                                 192.0.2.3",
            {"ip": None, "rmi_ip": "192.0.2.3"},
        ),
    ],
)
def test_chassis_row_variants(row: str, expected: dict[str, object]) -> None:
    assert {name: second(row)[name] for name in expected} == expected


def test_chassis_local_mark_may_stand_apart_and_on_any_row() -> None:
    facts = chassis(TABLE + ACTIVE.replace("*1 ", " 1 ") + STANDBY.replace(" 2 ", "* 2 "))
    assert [(member.number, member.is_local) for member in facts.members] == [(1, False), (2, True)]


@pytest.mark.parametrize("titles", [TITLES.replace("  RMI-IP", ""), TITLES.split("State")[0] + "State\n"])
def test_chassis_without_the_redundancy_interface(titles: str) -> None:
    has_ip = "IP" in titles
    rows = "*1       Active   0011.2233.4455     2      V02     Ready" + ("     169.254.1.2" if has_ip else "")
    facts = read("show chassis", HEAD + titles + RULE + rows + "\n")
    assert isinstance(facts, Chassis)
    assert (facts.members[0].ip, facts.members[0].rmi_ip) == ("169.254.1.2" if has_ip else None, None)


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ("", "no chassis is listed"),
        (ACTIVE + STANDBY.replace("0011.2233.4466", "0011.2233.44"), "line 8"),
        (ACTIVE + STANDBY.replace("169.254.1.3", "169.254.1.399"), "address"),
        (ACTIVE + STANDBY.replace("169.254.1.3", "169.254.1"), "address"),
        (ACTIVE + STANDBY.replace("Ready", "R3ady"), "line 8"),
        (ACTIVE + "~~~~\n", "line 8"),
        (ACTIVE + STANDBY.replace("Ready", SYSLOG), "line 8"),
        (ACTIVE + STANDBY + STANDBY, "twice"),
        (ACTIVE + STANDBY.replace(" 2 ", "*2 ", 1), "more than one"),
        (ACTIVE + STANDBY.replace("192.0.2.3", "192.0.2.3 192.0.2.4"), "address"),
    ],
)
def test_chassis_row_that_is_none_spoils_the_table(rows: str, why: str) -> None:
    with pytest.raises(Unreadable, match=why):
        chassis(TABLE + rows)


def test_chassis_row_that_is_none_in_a_table_without_its_rule() -> None:
    for broken in ("*1 ~~~~\n", ACTIVE.replace("Ready", SYSLOG)):
        with pytest.raises(Unreadable, match="line 6"):
            chassis(TABLE.replace(RULE, "") + broken + STANDBY)


SYSTEM = """\
Redundant System Information :
------------------------------
       Available system uptime = 5 weeks, 2 days, 3 hours, 4 minutes
Switchovers system experienced = 3
              Standby failures = 1
        Last switchover reason = user forced

                 Hardware Mode = Duplex
    Configured Redundancy Mode = sso
     Operating Redundancy Mode = sso
              Maintenance Mode = Disabled
                Communications = Up

"""
THIS = """\
Current Processor Information :
-------------------------------
               Active Location = slot 1
        Current Software state = ACTIVE
       Uptime in current state = 5 weeks, 2 days, 3 hours, 4 minutes
                 Image Version = Wireless Controller Software [Quay], WX (WX), Version 17.9.4a, RELEASE SOFTWARE (fc3)
Technical Support: http://support.example.net/
Copyright (c) 2010-2026 by the makers.
Compiled Fri 20-Oct-23 10:27 by builder
                          BOOT = bootflash:packages.conf,1;
                   CONFIG_FILE =
        Configuration register = 0x102
               Recovery mode   = Not Applicable
             Fast Switchover = Enabled

"""
PEER = THIS.replace("Current Processor", "Peer Processor").replace(
    "Active Location = slot 1", "Standby Location = slot 2"
)
PEER = PEER.replace("= ACTIVE", "= STANDBY HOT")
LOST = SYSTEM.replace("Duplex", "Simplex").replace("= Up", "= Down      Reason: Failure")


def redundancy(text: str) -> Redundancy:
    facts = read("show redundancy", text)
    assert isinstance(facts, Redundancy)
    return facts


def test_redundancy_of_a_healthy_pair() -> None:
    facts = redundancy(SYSTEM + THIS + PEER)
    boot = ("bootflash:packages.conf",)
    both: dict[str, Any] = {"release": "17.9.4a", "boot": boot, "config_register": "0x102", "state_seconds": 3_207_840}
    assert facts == Redundancy(
        hardware_mode="Duplex",
        configured_mode="sso",
        operating_mode="sso",
        communications="up",
        communications_reason=None,
        switchovers=3,
        last_switchover_reason="user forced",
        standby_failures=1,
        this=Processor(location="slot 1", state="ACTIVE", **both),
        peer=Processor(location="slot 2", state="STANDBY HOT", **both),
    )
    expected = {"communications": (12,), "this.state": (17,), "this.release": (19,), "this.boot": (23,)}
    expected |= {"peer": (29,), "peer.location": (31,), "peer.state": (32,), "peer.boot": (38,), "hardware_mode": (8,)}
    assert {name: facts.at[name] for name in expected} == expected


def test_the_register_that_counts_is_the_one_at_the_next_reload() -> None:
    said = "Configuration register = 0x102"
    assert said in THIS
    facts = redundancy(
        SYSTEM + THIS.replace(said, f"{said.replace('0x102', '0x2142')} (will be 0x2102 at next reload)")
    )
    assert facts.this is not None
    assert facts.this.config_register == "0x2102"
    spoilt = redundancy(SYSTEM + THIS.replace(said, said.replace("0x102", "0x1~2")))
    assert spoilt.this is not None
    assert spoilt.this.config_register is None


def test_redundancy_as_the_standby_tells_it() -> None:
    own = PEER.replace("Peer Processor", "Current Processor")
    facts = redundancy(SYSTEM + own + THIS.replace("Current Processor", "Peer Processor"))
    assert facts.this is not None
    assert facts.peer is not None
    assert (facts.this.state, facts.this.location, facts.peer.state) == ("STANDBY HOT", "slot 2", "ACTIVE")


@pytest.mark.parametrize(
    ("image", "release", "lines"),
    [
        ("Wireless Controller Software, Version 17.09.04a, RELEASE SOFTWARE (fc3)", "17.9.4a", [0]),
        (
            "Wireless Controller Software [Quay],\nWX (WX-K9), Version 17.9.4a, RELEASE\nSOFTWARE",
            "17.9.4a",
            [1],
        ),
        ("Wireless Controller Software, Version\n17.9.4a, RELEASE SOFTWARE (fc3)", "17.9.4a", [0, 1]),
        ("Wireless Controller Software, Version 17.9.4\na, RELEASE SOFTWARE (fc3)", "17.9.4a", [0, 1]),
        ("Wireless Controller Software, Version 17.9.4a\n, RELEASE SOFTWARE (fc3)", "17.9.4a", [0]),
        ("Wireless Controller Software, Version 17.9.4a", "17.9.4a", [0]),
        ("Wireless Controller Software, Version 17.9.4\na word", None, []),
        ("Quite another maker's words with Version 17.12.3 in them", "17.12.3", [0]),
        ("Wireless Controller Software, Version 17.12.03.0.1234, TEST\nLicence Version 2.0.", "17.12.3", [0]),
        ("Wireless Controller Software, Version seventeen", None, []),
        ("", None, []),
    ],
)
def test_redundancy_release_out_of_wrapped_text(image: str, release: str | None, lines: list[int]) -> None:
    own = "Wireless Controller Software [Quay], WX (WX), Version 17.9.4a, RELEASE SOFTWARE (fc3)"
    text = SYSTEM + THIS.replace(own, image)
    facts = redundancy(text)
    assert facts.this is not None
    assert facts.this.release == release
    assert [number - 19 for number in facts.at.get("this.release", ())] == lines


@pytest.mark.parametrize(
    "image",
    [
        f"Version 17.9.4{SYSLOG}\na, RELEASE SOFTWARE",
        f"Wireless,\nVersion 17.9.4{SYSLOG}\na, RELEASE SOFTWARE",
        f"Wireless,\nVersion 17.9.4{SYSLOG}",
        f"Wireless, Version 17.9.4\na, RELEA{SYSLOG}\nSE SOFTWARE",
        f"Wireless, Version\n17.9.4{SYSLOG}\na, RELEASE SOFTWARE",
    ],
)
def test_redundancy_release_that_syslog_breaks_is_none(image: str) -> None:
    text = SYSTEM + THIS.replace("Wireless Controller Software [Quay], WX (WX), Version 17.9.4a", image)
    facts = redundancy(text)
    assert facts.this is not None
    assert facts.this.release is None


def test_redundancy_two_releases_of_one_processor_are_none() -> None:
    with pytest.raises(Unreadable, match="its own release twice"):
        redundancy(SYSTEM + THIS.replace("Copyright", "Version 17.12.4, Copyright"))


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("Up", ("up", None)),
        ("Down      Reason: Failure", ("down", "Failure")),
        ("Down  Reason: Simplex mode", ("down", "Simplex mode")),
        ("Down", ("down", None)),
        ("up", ("up", None)),
        ("UP", ("up", None)),
        ("down  reason: Failure", ("down", "Failure")),
        ("DOWN", ("down", None)),
        ("Upp", (None, None)),
        ("Downx", (None, None)),
        ("Up Reason: none", (None, None)),
        ("", (None, None)),
    ],
)
def test_redundancy_communications(line: str, expected: tuple[str | None, str | None]) -> None:
    facts = redundancy(SYSTEM.replace("= Up", f"= {line}") + THIS)
    assert (facts.communications, facts.communications_reason) == expected


@pytest.mark.parametrize(
    ("rest", "peer"),
    [
        ("", None),
        (
            "Peer (slot: 2, switchover pending) information is not available because it is in 'DISABLED' state\n",
            Processor(state="DISABLED"),
        ),
        ("Peer (slot: 2) information is not available\n", Processor()),
        (
            "Peer Processor Information :\n-------\n  Standby Location = slot 2\n  Current Software state = DISABLED\n",
            Processor(location="slot 2", state="DISABLED"),
        ),
        (
            "  Standby Location = slot 2\n  Current Software state = DISABLED\n",
            Processor(location="slot 2", state="DISABLED"),
        ),
        (
            "Standby Location = slot 2   Current Software state = DISABLED\n",
            Processor(location="slot 2", state="DISABLED"),
        ),
        ("Peer Processor Information :\n", Processor()),
    ],
)
def test_redundancy_peer_lost(rest: str, peer: Processor | None) -> None:
    facts = redundancy(LOST + THIS + rest)
    assert (facts.hardware_mode, facts.communications, facts.communications_reason) == ("Simplex", "down", "Failure")
    assert facts.this is not None
    assert facts.this.state == "ACTIVE"
    assert facts.peer == peer


@pytest.mark.parametrize("state", ["STANDBY COLD", "STANDBY COLD-BULK", "STANDBY HOT"])
def test_redundancy_standby_states_as_printed(state: str) -> None:
    facts = redundancy(SYSTEM + THIS + PEER.replace("STANDBY HOT", state))
    assert facts.peer is not None
    assert facts.peer.state == state


def test_redundancy_modes_as_printed() -> None:
    text = SYSTEM.replace("Configured Redundancy Mode = sso", "Configured Redundancy Mode = Stateful Switchover")
    facts = redundancy(
        text.replace("Operating Redundancy Mode = sso", "Operating Redundancy Mode = Non-redundant") + THIS
    )
    assert (facts.configured_mode, facts.operating_mode) == ("Stateful Switchover", "Non-redundant")


@pytest.mark.parametrize(
    ("printed", "expected"),
    [
        ("bootflash:packages.conf,1;", ("bootflash:packages.conf",)),
        (
            "bootflash:wx.17.09.04.bin,12;bootflash:packages.conf,1;",
            ("bootflash:wx.17.09.04.bin", "bootflash:packages.conf"),
        ),
        ("", ()),
        ("bootflash:pack\nages.conf,1;", None),
    ],
)
def test_redundancy_boot_variable(printed: str, expected: tuple[str, ...] | None) -> None:
    facts = redundancy(SYSTEM + THIS.replace("bootflash:packages.conf,1;", printed))
    assert facts.this is not None
    assert facts.this.boot == expected


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("                Communications = Up\n", "Communications = Up\nCommunications = Down Reason: Failure\n"),
        ("                 Hardware Mode = Duplex\n", "Hardware Mode = Simplex\nHardware Mode = Duplex\n"),
        (
            "        Current Software state = STANDBY HOT\n",
            "Current Software state = STANDBY HOT\nCurrent Software state = X\n",
        ),
        ("                 Hardware Mode = Duplex\n", "Hardware Mode =\nHardware Mode = Duplex\n"),
        ("               Active Location = slot 1\n", ""),
    ],
)
def test_redundancy_contradiction_is_unreadable(old: str, new: str) -> None:
    text = SYSTEM + THIS + PEER
    assert old in text
    # Without the first location and the second title one block would have two states.
    text = text.replace(old, new, 1)
    with pytest.raises(Unreadable, match="twice"):
        redundancy(
            text if new else text.replace("Peer Processor Information :\n", "").replace("Standby Location", "Stndby")
        )


def test_redundancy_numbers_that_are_none() -> None:
    facts = redundancy(SYSTEM.replace("experienced = 3", "experienced = many") + THIS)
    assert facts.switchovers is None
    assert "switchovers" not in facts.at


@pytest.mark.parametrize("text", ["My words are not an answer\n", "Redundant System Information :\n---------\n"])
def test_redundancy_that_says_nothing(text: str) -> None:
    with pytest.raises(Unreadable):
        redundancy(text)


MCL = "Mismatched Command List\n-----------------------\n\n"
OFFENDING = """\
00:06:31: Config Sync: Starting lines from MCL file:
-interface GigabitEthernet2
! <submode> "interface"
- ip address 192.0.2.0 255.255.255.0
! </submode> "interface"
"""


def config_sync(text: str, command: str = "show redundancy config-sync failures mcl") -> ConfigSync:
    facts = read(command, text)
    assert isinstance(facts, ConfigSync)
    return facts


@pytest.mark.parametrize(
    "heading",
    [
        "Mismatched Command List",
        "Best Effort Method (BEM) Failure List",
        "BEM Failed Command List",
        "PRC Failure List",
        "Ignored Mismatched Command List",
        "Ignored Mismatched Command List:",
        "Parser return codes that failed",
    ],
)
@pytest.mark.parametrize("command", ["failures mcl", "failures bem", "failures prc", "ignored failures mcl"])
@pytest.mark.parametrize("word", ["The list is Empty", "The list is empty"])
def test_config_sync_empty(heading: str, command: str, word: str) -> None:
    text = f"{heading}\n{'-' * len(heading)}\n\n{word}\n"
    facts = config_sync(text, f"show redundancy config-sync {command}")
    assert facts == ConfigSync(empty=True)
    assert facts.at == {"empty": (4,)}


@pytest.mark.parametrize("heading", ["Mismatched Command List\n", "Anything At All\n"])
def test_config_sync_offending_lines_exactly(heading: str) -> None:
    facts = config_sync(f"{heading}-----------------------\n\n{OFFENDING}")
    assert facts.empty is False
    assert facts.lines == tuple(OFFENDING.splitlines())
    assert facts.at == {"empty": (4, 5, 6, 7, 8), "lines": (4, 5, 6, 7, 8)}


@pytest.mark.parametrize(
    "line", ["-ip access-list standard My List", "PRC failed for List", "-snmp-server enable", "List"]
)
def test_config_sync_offending_line_is_no_heading(line: str) -> None:
    assert config_sync(MCL + line).lines == (line,)


def test_config_sync_trouble_beside_the_empty_line() -> None:
    facts = config_sync(MCL + "The list is Empty\n-interface GigabitEthernet2\n")
    assert (facts.empty, facts.lines) == (False, ("-interface GigabitEthernet2",))


def test_config_sync_rule_behind_the_list_is_no_heading_above_it() -> None:
    assert config_sync(MCL + "The list is Empty\n-----------------------\n").empty is True
    assert config_sync(MCL + "The list is Empty\nLine of trouble\n---------\n").lines == ("Line of trouble",)


def test_config_sync_lines_of_dashes_among_the_lines() -> None:
    assert config_sync(MCL + "-banner motd\n-----------\n-text\n").lines == ("-banner motd", "-text")
    ruled = "The list is Empty\n-----------\n"
    assert config_sync(MCL + ruled + MCL + ruled).empty is True


def test_config_sync_syslog_within_a_line() -> None:
    assert config_sync(f"{MCL}The list is Em{SYSLOG}\n") == ConfigSync()
    assert config_sync(f"{MCL}The list is Empty{SYSLOG}\n") == ConfigSync()
    assert config_sync(f"{MCL}-interface Gi{SYSLOG}\n").lines == ("-interface Gi",)


def test_config_sync_several_lists() -> None:
    two = MCL + "The list is Empty\n\n" + MCL.replace("Mismatched", "Ignored")
    assert config_sync(two + "The list is Empty\n").empty is True
    assert config_sync(two + "-interface GigabitEthernet2\n").lines == ("-interface GigabitEthernet2",)
    assert config_sync(two).empty is None
    assert config_sync(MCL + MCL + "The list is Empty\n").empty is None


@pytest.mark.parametrize("text", [MCL, MCL.replace("\n\n", "\n"), "Mismatched Command List\n"])
def test_config_sync_silence_is_not_empty(text: str) -> None:
    assert config_sync(text) == ConfigSync()


@pytest.mark.parametrize(
    "text", ["Something else\n", MCL + "% Redundancy isn't there\n", "Other words\nThe list is Empty\n"]
)
def test_config_sync_that_is_no_list(text: str) -> None:
    with pytest.raises(Unreadable):
        config_sync(text)


def test_config_sync_without_its_rule() -> None:
    assert config_sync("The list is Empty\n").empty is True
    assert config_sync("Mismatched Command List\nThe list is Empty\n").empty is True
    assert config_sync("Mismatched Command List\n-interface X\n").lines == ("-interface X",)


ANSWERS = [
    ("show chassis rmi", TABLE + ACTIVE + STANDBY),
    (
        "show chassis",
        HEAD + TITLES + RULE + " 2       Member   0000.0000.0000     0      0       Removed   0.0.0.0   NA",
    ),
    ("show redundancy", SYSTEM + THIS + PEER),
    ("show redundancy", LOST + THIS + "Peer (slot: 2) information is not available because it is in 'DISABLED' state"),
    ("show redundancy", SYSTEM + THIS.replace("Version 17", "Version\n17") + PEER),
    ("show redundancy config-sync failures mcl", MCL + "The list is Empty\n"),
    ("show redundancy config-sync failures mcl", MCL + OFFENDING),
]


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_dressing_changes_nothing(command: str, text: str) -> None:
    assert_reads_alike(command, text)


def test_facts_cite_their_lines() -> None:
    text = SYSTEM + THIS + PEER
    lines = cited(redundancy(text), text)
    assert lines["communications"] == ["Communications = Up"]
    assert lines["peer.state"] == ["Current Software state = STANDBY HOT"]
    assert lines["this.boot"] == ["BOOT = bootflash:packages.conf,1;"]


def looks_good(command: str, text: str) -> bool:
    """Whether a rule that wants everything right could be content with the answer."""
    try:
        facts = read(command, text)
    except Unreadable:
        return False
    if isinstance(facts, Chassis):
        return sorted((m.role, m.state) for m in facts.members) == [("Active", "Ready"), ("Standby", "Ready")]
    if isinstance(facts, Redundancy):
        modes = (facts.hardware_mode, facts.configured_mode, facts.operating_mode, facts.communications)
        states = {processor.state for processor in (facts.this, facts.peer) if processor}
        releases = {processor.release for processor in (facts.this, facts.peer) if processor}
        boot = [processor.boot and processor.boot[0] for processor in (facts.this, facts.peer) if processor]
        paths = boot == ["bootflash:packages.conf"] * 2
        return (
            modes == ("Duplex", "sso", "sso", "up")
            and states == {"ACTIVE", "STANDBY HOT"}
            and paths
            and len(releases) == 1
        )
    assert isinstance(facts, ConfigSync)
    return facts.empty is True


GOOD = [
    ("show chassis rmi", TABLE + ACTIVE + STANDBY),
    ("show redundancy", SYSTEM + THIS + PEER),
    ("show redundancy config-sync failures mcl", MCL + "The list is Empty\n"),
]
BAD = [
    ("show chassis rmi", TABLE + ACTIVE + STANDBY.replace("Ready", "HA sync in progress")),
    ("show chassis rmi", TABLE + ACTIVE + STANDBY.replace("V02     Ready", "        V-Mismatch")),
    ("show chassis rmi", TABLE + ACTIVE + STANDBY.replace("Standby", "Active")),
    (
        "show chassis rmi",
        TABLE + ACTIVE + " 2       Member   0000.0000.0000     0      0       Removed   0.0.0.0   NA\n",
    ),
    ("show redundancy", LOST + THIS),
    ("show redundancy", SYSTEM + THIS + PEER.replace("STANDBY HOT", "STANDBY COLD")),
    (
        "show redundancy",
        SYSTEM.replace("Operating Redundancy Mode = sso", "Operating Redundancy Mode = rpr") + THIS + PEER,
    ),
    ("show redundancy", SYSTEM.replace("= Up", "= Down  Reason: Failure") + THIS + PEER),
    ("show redundancy", SYSTEM + THIS + PEER.replace("17.9.4a", "17.9.4")),
    ("show redundancy", SYSTEM + THIS.replace("17.9.4a,", "17.9.4\nb,") + PEER.replace("17.9.4a,", "17.9.4\na,")),
    ("show redundancy", SYSTEM + THIS + PEER.replace("packages.conf", "wx.bin")),
    ("show redundancy", SYSTEM + THIS + PEER.replace("BOOT = b", "BOOT = bootflash:wx.bin,1;b")),
    ("show redundancy config-sync failures mcl", MCL + OFFENDING),
    ("show redundancy config-sync failures mcl", MCL + "-interface GigabitEthernet2\n"),
    ("show redundancy config-sync failures mcl", MCL + "-interface GigabitEthernet2\n\n" + MCL + "The list is Empty\n"),
    ("show redundancy config-sync failures bem", MCL),
]


@pytest.mark.parametrize(("command", "text"), GOOD)
def test_what_is_good_looks_good(command: str, text: str) -> None:
    assert looks_good(command, text)


@pytest.mark.parametrize(("command", "text"), BAD)
def test_no_damage_makes_trouble_look_good(command: str, text: str) -> None:
    assert not looks_good(command, text)
    for damage in (cut, garbled):
        for name, damaged in damage(text):
            assert not looks_good(command, damaged), name
    for line, damaged in shortened(text):
        # What a single line says beside a complete answer can't be missed when exactly that line is gone.
        if line != "-interface GigabitEthernet2":
            assert not looks_good(command, damaged), line
