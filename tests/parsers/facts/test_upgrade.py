"""Installed software and upgrades in progress. Structures: DESIGN section 5."""

from __future__ import annotations

import pytest

from parsers import Unreadable, read
from parsers.facts.upgrade import InstallSummary, IssuState, Package, Scope
from tests.parsers.dressing import assert_reads_alike, cited, cut, garbled, shortened

LINE = "-" * 80 + "\n"
LEGEND = """\
State (St): I - Inactive, U - Activated & Uncommitted,
            C - Activated & Committed, D - Deactivated & Uncommitted
"""
TITLES = LINE + "Type  St   Filename/Version\n" + LINE
IDLE_TIMER = "Auto abort timer: inactive\n"
RUNNING_TIMER = "Auto abort timer: active on install_activate, time before rollback - 01:49:42\n"
IMAGE = "IMG   C    17.09.04a.0.6\n"
STAGED = "IMG   I    17.12.04.0.4321\n"


def block(places: str, rows: str) -> str:
    return f"[ {places} ] Installed Package(s) Information:\n{LEGEND}{TITLES}{rows}\n"


def closed(timer: str) -> str:
    return LINE + timer + LINE


HEALTHY = block("Chassis 1 2", IMAGE) + closed(IDLE_TIMER)


def summary(text: str) -> InstallSummary:
    facts = read("show install summary", text)
    assert isinstance(facts, InstallSummary)
    return facts


def test_install_summary_of_a_healthy_pair() -> None:
    facts = summary(HEALTHY)
    package = Package(type="IMG", state="C", name="17.09.04a.0.6", at=7)
    assert facts == InstallSummary(
        scopes=(Scope(locations=("1", "2"), packages=(package,), at=1),), auto_abort="inactive"
    )
    assert facts.at == {"scopes": (1, 7), "auto_abort": (10,)}


@pytest.mark.parametrize(
    ("places", "locations"),
    [
        ("Chassis 1 2", ("1", "2")),
        ("Chassis 1/R0 2/R0", ("1/R0", "2/R0")),
        ("R0", ("R0",)),
        ("Chassis 2", ("2",)),
        ("1 2", ("1", "2")),
        ("Chassis 1 Chassis 2", ("1", "2")),
    ],
)
def test_install_summary_locations(places: str, locations: tuple[str, ...]) -> None:
    assert summary(block(places, IMAGE) + closed(IDLE_TIMER)).scopes[0].locations == locations


@pytest.mark.parametrize("places", ["Chassis 1 two", "Chassis", ""])
def test_install_summary_without_a_location(places: str) -> None:
    with pytest.raises(Unreadable):
        summary(block(places, IMAGE) + closed(IDLE_TIMER))


def test_install_summary_rows_of_every_kind() -> None:
    rows = IMAGE + IMAGE.replace(" C ", " I ") + "SMU   U    bootflash:wx.17.09.04a.CSC1.SPA.smu.bin\n"
    rows += "APSP  D    17.09.04a.1.6\nAPDP  I    /flash/updates/apdp.bin\n"
    packages = summary(block("R0", rows) + closed(IDLE_TIMER)).scopes[0].packages
    assert [(package.type, package.state, package.name, package.at) for package in packages] == [
        ("IMG", "C", "17.09.04a.0.6", 7),
        ("IMG", "I", "17.09.04a.0.6", 8),
        ("SMU", "U", "bootflash:wx.17.09.04a.CSC1.SPA.smu.bin", 9),
        ("APSP", "D", "17.09.04a.1.6", 10),
        ("APDP", "I", "/flash/updates/apdp.bin", 11),
    ]


@pytest.mark.parametrize("words", ["No packages", "No Packages", "No packages installed"])
def test_install_summary_no_packages(words: str) -> None:
    facts = summary(block("Chassis 1", IMAGE) + block("Chassis 2", words + "\n") + closed(IDLE_TIMER))
    assert [(scope.locations, len(scope.packages)) for scope in facts.scopes] == [(("1",), 1), (("2",), 0)]


ONE, TWO = block("Chassis 1", IMAGE), block("Chassis 2", IMAGE)


@pytest.mark.parametrize(
    ("text", "timer", "seconds"),
    [
        (ONE + TWO + closed(IDLE_TIMER), "inactive", None),
        (ONE + LINE + TWO + closed(IDLE_TIMER), "inactive", None),
        (ONE + closed(IDLE_TIMER) + TWO + closed(IDLE_TIMER), "inactive", None),
        (ONE + closed(RUNNING_TIMER) + TWO + closed(IDLE_TIMER), "active", 6582),
        (ONE + closed(IDLE_TIMER) + TWO + closed(RUNNING_TIMER), "active", 6582),
        (ONE + closed(RUNNING_TIMER) + TWO + closed(RUNNING_TIMER.replace("01:49", "00:01")), "active", 102),
        (ONE + closed("Auto abort timer: active\n") + TWO + closed(IDLE_TIMER), "active", None),
        (ONE + TWO + closed("Auto abort timer: active on install_activate\n"), "active", None),
        (ONE + TWO + IDLE_TIMER, "inactive", None),
        (ONE + TWO + LINE, None, None),
        (ONE + TWO, None, None),
        # The last block's own timer is missing: the answer may break off before it.
        (ONE + closed(IDLE_TIMER) + TWO + LINE, None, None),
        (ONE + closed(RUNNING_TIMER) + TWO + LINE, "active", 6582),
    ],
)
def test_install_summary_timer(text: str, timer: str | None, seconds: int | None) -> None:
    facts = summary(text)
    assert [scope.locations for scope in facts.scopes] == [("1",), ("2",)]
    assert (facts.auto_abort, facts.auto_abort_seconds_left) == (timer, seconds)
    lines = cited(facts, text)
    assert all(line.startswith(f"Auto abort timer: {timer}") for line in lines.get("auto_abort", []))
    assert ("auto_abort" in lines, "auto_abort_seconds_left" in lines) == (timer is not None, seconds is not None)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (block("R0", ""), "breaks off"),
        (block("R0", "") + closed(IDLE_TIMER), "breaks off"),
        (ONE + block("Chassis 2", "") + LINE, "breaks off"),
        (block("Chassis 1", "") + TWO + LINE, "breaks off"),
        ("[ R0 ] Installed Package(s) Information:\n", "breaks off"),
        (block("R0", "IMG   X    17.09.04a.0.6\n") + LINE, "line 7"),
        (block("R0", "IMG   c    17.09.04a.0.6\n") + LINE, "line 7"),
        (block("R0", IMAGE + "IMG   I\n") + LINE, "line 8"),
        (block("R0", IMAGE + "~~~\n") + LINE, "line 8"),
        (HEALTHY + "~~~\n", "line 12"),
        (ONE + LINE + IMAGE, "stands in no"),
        (IMAGE + HEALTHY, "stands in no"),
        (block("R0", IMAGE + "No packages\n") + LINE, "says that there are none"),
        (ONE + LEGEND + TITLES + STAGED + LINE, "without saying of which"),
        (ONE + LINE + LEGEND + TITLES + STAGED + LINE, "without saying of which"),
        (block("R0", IMAGE) + closed("Auto abort timer: soon\n"), "line 10"),
        (IDLE_TIMER, "no packages of any chassis"),
        ("Some words\n", "no packages of any chassis"),
    ],
)
def test_install_summary_that_does_not_hold_together(text: str, why: str) -> None:
    with pytest.raises(Unreadable, match=why):
        summary(text)


LOCK = "--- Starting local lock acquisition on R0 ---\nFinished local lock acquisition on R0\n\n"
NOTHING = "No ISSU operation is in progress\n"
DOUBLE, SINGLE = "=" * 55 + "\n", "-" * 55 + "\n"
CHECKS = {
    "Platform ISSU Support": "Yes",
    "Standby Online": "Yes",
    "Autoboot Enabled": "No",
    "SSO Mode": "Yes",
    "Install Boot": "Yes",
    "Valid Boot Media": "Yes",
    "Operational Mode": "HA-LOCAL",
}
TABLE = DOUBLE + "System Check                        Status\n" + SINGLE
TABLE += "".join(f"{name:<36}{value}\n" for name, value in CHECKS.items()) + DOUBLE
AT_REST = "Current ISSU Status: Enabled\nPrevious ISSU Operation: Successful\n"
OPERATION = """\
Added Image:
Name                                Compatible
-------------------------------------------------------
17.12.04.0.4321                     Yes
=======================================================
Operation type: One-shot ISSU
Install type : Image installation using ISSU
Current state: Activated state
Last operation: Switchover

Completed operations:

Operation                           Start time
-------------------------------------------------------
Activate location standby Chassis 2 2027-02-05:20:31:17
Switchover                          2027-02-05:20:41:17

State transition: Added -> Standby activated -> Active switched-over

Auto abort timer: active, time before rollback: 05:41:53
Running image: bootflash:packages.conf
Operating mode: sso, terminal state reached
"""
NEW = LOCK + "Current ISSU Status: In Progress\nPrevious ISSU Operation: N/A\n" + TABLE + OPERATION
OLD = (
    LOCK
    + """\
Slot being modified:     R1
  Loadversion time:      20270205 20:31:28 on console 0
  Last operation:        loadversion
  Rollback:              automatic, remaining time before rollback: 00:35:58
  Original (rollback) image: bootflash:packages.conf
  Running image:         bootflash:packages.conf
  Operating mode:        sso, terminal state reached
"""
)


def issu(text: str) -> IssuState:
    facts = read("show issu state detail", text)
    assert isinstance(facts, IssuState)
    return facts


@pytest.mark.parametrize("before", ["", LOCK, LOCK.replace("R0", "chassis 1")])
def test_issu_at_rest(before: str) -> None:
    facts = issu(before + NOTHING)
    assert facts == IssuState(in_progress=False)
    assert facts.at == {"in_progress": (4 if before else 1,)}


@pytest.mark.parametrize(
    "history",
    [
        "",
        AT_REST,
        AT_REST.replace("Enabled", "Disabled"),
        "Last operation: Commit\n",
        "Rollback: inactive, timer canceled by acceptversion\n",
        "Auto abort timer: inactive\n",
        "Operation type: N/A\n",
        "Something new: with a value\n",
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_issu_history_is_no_progress(history: str, turned: bool) -> None:
    parts = [history, TABLE, NOTHING]
    facts = issu(LOCK + "".join(reversed(parts) if turned else parts))
    assert (facts.in_progress, facts.operation, facts.stage) == (False, None, None)
    assert facts.system_checks == CHECKS


def test_issu_system_checks() -> None:
    text = LOCK + AT_REST + TABLE + NOTHING
    lines = cited(issu(text), text)
    assert [line.split()[-1] for line in lines["system_checks"]] == list(CHECKS.values())
    assert {name: line for name, value in CHECKS.items() for line in lines[f"system_checks.{name}"]} == {
        name: f"{name:<36}{value}" for name, value in CHECKS.items()
    }
    single = "".join(f"{name} {value}\n" for name, value in CHECKS.items())
    assert issu("System Check  Status\n" + single + NOTHING) == IssuState(in_progress=False, system_checks=CHECKS)
    several = issu(TABLE.replace("HA-LOCAL", "HA LOCAL ONLY") + NOTHING).system_checks
    assert several == {**CHECKS, "Operational Mode": "HA LOCAL ONLY"}


def test_issu_system_checks_spoilt_or_contradicting() -> None:
    spoilt = issu(TABLE.replace("Autoboot Enabled                    No", "~~~~") + NOTHING)
    assert (spoilt.system_checks, spoilt.in_progress) == (None, None)
    with pytest.raises(Unreadable, match="twice"):
        issu(TABLE.replace("SSO Mode  ", "Standby Online ").replace("Yes", "No", 2) + NOTHING)


def test_issu_in_progress_on_newer_trains() -> None:
    facts = issu(NEW)
    assert facts == IssuState(
        in_progress=True,
        operation="One-shot ISSU",
        stage="Activated state",
        last_operation="Switchover",
        system_checks=CHECKS,
    )
    lines = cited(facts, NEW)
    assert lines["operation"] == ["Operation type: One-shot ISSU"]
    assert lines["stage"] == ["Current state: Activated state"]
    assert lines["in_progress"][0] == "Current ISSU Status: In Progress"


def test_issu_in_progress_on_older_trains() -> None:
    facts = issu(OLD)
    assert facts == IssuState(in_progress=True, operation="loadversion")
    assert "Slot being modified:     R1" in cited(facts, OLD)["in_progress"]


@pytest.mark.parametrize(
    "sign",
    [
        "Current ISSU Status: In Progress",
        "Current ISSU Status: in progress",
        "Operation type: One-shot ISSU",
        "Install type : Image installation using ISSU",
        "Current state: Activated state",
        "State transition: Init -> Added",
        "Slot being modified: R1",
        "Auto abort timer: active, time before rollback: 05:41:53",
        "Rollback: automatic, remaining time before rollback: 00:35:58",
        "Added Image:",
        "Completed operations:",
    ],
)
def test_issu_any_sign_wins(sign: str) -> None:
    assert issu(f"{LOCK}{sign}\n").in_progress is True
    assert issu(f"{LOCK}{sign}\n{NOTHING}").in_progress is True
    assert issu(f"{LOCK}{NOTHING}{sign}\n").in_progress is True


@pytest.mark.parametrize(
    "line",
    [
        "~~~",
        "Words of another kind",
        "Current ISSU Status: Inn Progres",
        "Current ISSU Status: Whatever",
        "Auto abort timer: ac~ive",
    ],
)
def test_issu_a_line_that_cannot_be_read_leaves_it_open(line: str) -> None:
    assert issu(f"{LOCK}{line}\n{NOTHING}").in_progress is None


@pytest.mark.parametrize("text", [LOCK + AT_REST, LOCK + TABLE, LOCK + AT_REST + TABLE, "Last operation: Commit\n"])
def test_issu_silence_is_no_rest(text: str) -> None:
    assert issu(text).in_progress is None


@pytest.mark.parametrize("text", [LOCK, "Some words\n", "No ISSU operation was in progress\n", "no issu operation\n"])
def test_issu_that_says_nothing(text: str) -> None:
    with pytest.raises(Unreadable, match="in-service upgrade"):
        issu(text)


def test_issu_two_operations_contradict() -> None:
    with pytest.raises(Unreadable, match="operation twice"):
        issu(NEW + "Operation type: Step-by-step ISSU\n")


ANSWERS = [
    ("show install summary", HEALTHY),
    ("show install summary", ONE + TWO),
    ("show install summary", ONE + closed(RUNNING_TIMER) + block("Chassis 2", "No packages\n") + closed(IDLE_TIMER)),
    ("show issu state detail", LOCK + NOTHING),
    ("show issu state detail", LOCK + AT_REST + TABLE + NOTHING),
    ("show issu state detail", NEW),
    ("show issu state detail", OLD),
]


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_dressing_changes_nothing(command: str, text: str) -> None:
    assert_reads_alike(command, text)


def looks_good(command: str, text: str) -> bool:
    """Whether a rule that wants everything right could be content with the answer."""
    try:
        facts = read(command, text)
    except Unreadable:
        return False
    if isinstance(facts, InstallSummary):
        states = {package.state for scope in facts.scopes for package in scope.packages}
        places = sorted(place for scope in facts.scopes for place in scope.locations)
        return facts.auto_abort == "inactive" and states == {"C"} and places == ["1", "2"]
    assert isinstance(facts, IssuState)
    return facts.in_progress is False


GOOD = [
    ("show install summary", HEALTHY),
    ("show install summary", ONE + TWO + closed(IDLE_TIMER)),
    ("show install summary", ONE + closed(IDLE_TIMER) + TWO + closed(IDLE_TIMER)),
    ("show issu state detail", LOCK + NOTHING),
    ("show issu state detail", LOCK + AT_REST + TABLE + NOTHING),
]
LEFT = block("Chassis 2", IMAGE + STAGED)
BAD = [
    ("show install summary", block("Chassis 1 2", IMAGE + STAGED) + closed(IDLE_TIMER)),
    ("show install summary", ONE + LEFT + closed(IDLE_TIMER)),
    ("show install summary", ONE + LINE + LEFT + closed(IDLE_TIMER)),
    ("show install summary", LEFT + LINE + ONE + closed(IDLE_TIMER)),
    ("show install summary", LEFT + closed(IDLE_TIMER) + ONE + closed(IDLE_TIMER)),
    ("show install summary", ONE + closed(IDLE_TIMER) + LEFT + closed(IDLE_TIMER)),
    ("show install summary", block("Chassis 1 2", IMAGE.replace(" C ", " U ")) + closed(IDLE_TIMER)),
    ("show install summary", block("Chassis 1 2", IMAGE) + closed(RUNNING_TIMER)),
    ("show install summary", ONE + TWO + closed(RUNNING_TIMER)),
    ("show install summary", ONE + closed(IDLE_TIMER) + TWO + closed(RUNNING_TIMER)),
    ("show install summary", ONE + closed(RUNNING_TIMER) + TWO + closed(IDLE_TIMER)),
    ("show install summary", ONE + LEFT),
    ("show issu state detail", NEW),
    ("show issu state detail", OLD),
    ("show issu state detail", NEW + NOTHING),
    ("show issu state detail", OLD + NOTHING),
    ("show issu state detail", LOCK + AT_REST + TABLE),
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
        if line not in (STAGED.strip(), RUNNING_TIMER.strip()):
            assert not looks_good(command, damaged), line
