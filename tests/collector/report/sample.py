"""A result as a night's sweep of a ferry company's controllers might leave it, for the tests of the renderers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone

from collector.finding import Answer, Evidence, Finding, Status, Verdict
from collector.ordering import Step, When
from collector.result import Ended, MemberResult, PairResult, Result
from collector.rules.rule import Rule
from inventory.pairs import Image, Member, Pair, Window
from inventory.waivers import Waiver

CET = timezone(timedelta(hours=1))
STARTED = datetime(2027, 2, 6, 21, 14, 3, tzinfo=CET)
HOSTILE = '"><img src="https://out.invalid/x" onerror="document.title=1"><script>document.title=2</script>'
STEERING = "AP-\x1b[2J\x1b]0;gone\x07[bold]deck[/bold] [/] \u202eback"

_ASKED = {
    "hardware-support": ("Can this model be upgraded in service?", ("show version",)),
    "release-support": ("Are the running and the target release supported?", ("show version",)),
    "upgrade-path": ("Is there a direct in-service step to the target?", ("show version",)),
    "install-mode": ("Do both members run in install mode?", ("show version",)),
    "boot-variable": ("Do both members boot from the packages file?", ("show boot",)),
    "rom-monitor": ("Is the ROM monitor new enough?", ("show rom-monitor chassis active R0",)),
    "flash-space": ("Is there room for the images on both flashes?", ("dir bootflash:", "dir stby-bootflash:")),
    "pair-state": ("Is one member active and the other hot standby?", ("show redundancy", "show chassis rmi")),
    "pair-link": ("Do the members see each other?", ("show redundancy",)),
    "pair-interface": ("Do both use the same redundancy interface?", ("show romvar",)),
    "install-state": ("Is all software committed, and the same on both?", ("show install summary",)),
    "upgrade-activity": ("Is nothing being installed or upgraded?", ("show issu state detail",)),
    "config-sync": ("Is the configuration synchronised?", ("show redundancy config-sync failures mcl",)),
}


def _never_asked(*_: object) -> Answer:
    raise AssertionError("a renderer called a rule")


RULES = tuple(
    Rule(
        id=id,
        title=title,
        why=f"Because the window is lost where the answer to {id} is no.",
        good="good line of " + id,
        bad="bad line of " + id,
        needs=needs,
        judge=_never_asked,
    )
    for id, (title, needs) in _ASKED.items()
)


def evidence(member: str, command: str, *lines: str, start: int = 4) -> Evidence:
    """Lines of a capture that stand one after the other."""
    return Evidence(member, command, tuple(range(start, start + len(lines))), lines)


def finding(rule: str, status: Status, statement: str, remedy: str = "", *lines: Evidence) -> Finding:
    """A finding of one of the thirteen rules."""
    return Finding(rule, _ASKED[rule][0], status, statement, remedy, lines)


def pair(
    name: str, site: str, verdict: Verdict, *troubles: Finding, standby_reached: bool = True, days: int = 0
) -> PairResult:
    """A pair with these findings; every other rule passes."""
    by_rule = {trouble.rule: trouble for trouble in troubles}
    passed = {rule: _passed(rule, f"{name}-a") for rule in _ASKED}
    members = (Member(f"{name}-a", "192.0.2.11", 22), Member(f"{name}-b", "192.0.2.12", 22))
    return PairResult(
        pair=Pair(
            name=name,
            site=site,
            members=members,
            target_release="17.12.4",
            image=Image("wx-universal.17.12.04.bin", 1_250_000_000),
            window=Window(datetime(2027, 2, 6 + days, 23, 0, tzinfo=CET), 240),
        ),
        verdict=verdict,
        target_release="17.12.4",
        members=(
            MemberResult(f"{name}-a", "active", True, "17.9.4a"),
            MemberResult(f"{name}-b", "standby", standby_reached, "17.9.4a" if standby_reached else None),
        ),
        findings=tuple(by_rule.get(rule, passed[rule]) for rule in _ASKED),
    )


def _passed(rule: str, member: str) -> Finding:
    command = _ASKED[rule][1][0]
    if rule == "pair-interface":
        return finding(rule, Status.NOT_APPLICABLE, "Physical controllers have no redundancy interface to choose.")
    return finding(
        rule, Status.PASS, "Both members are as they should be.", "", evidence(member, command, f"all well of {rule}")
    )


SHORT = finding(
    "flash-space",
    Status.BLOCK,
    "On pontoon-b 2503411200 bytes are free, and 3 images of 1250000000 bytes need 3750000000: 1246588800 are missing.",
    "Remove inactive software and old files from the flash of pontoon-b, then check again. Removing the running "
    "image's packages can keep the controller from booting: follow the vendor's procedure.",
    evidence("pontoon-b", "dir bootflash:", "26458804224 bytes total (2503411200 bytes free)", start=31),
    evidence("pontoon-a", "dir bootflash:", "26458804224 bytes total (19503411200 bytes free)", start=29),
)
BUNDLE = finding(
    "install-mode",
    Status.BLOCK,
    "slipway-b runs in bundle mode.",
    "Convert slipway-b to install mode in a window of its own; this reloads the controller.",
    evidence("slipway-b", "show version", "Installation mode is BUNDLE", start=52),
)
OUT_OF_STEP = finding(
    "config-sync",
    Status.BLOCK,
    "The mismatched-command list of buoyyard-a holds 20 lines.",
    "Correct the lines on the active member, then let the standby synchronise again.",
    evidence(
        "buoyyard-a",
        "show redundancy config-sync failures mcl",
        "Mismatched Command List",
        "-----------------------",
        *(f"- wireless tag site deck-{number} description {'gangway ' * 12}" for number in range(1, 19)),
    ),
)
UNREACHED = finding(
    "pair-state",
    Status.UNKNOWN,
    "lighter-b wasn't reached: connection timed out.",
    "Find out why lighter-b doesn't answer; nothing is known of it tonight.",
)
UNTOLD = finding("install-mode", Status.UNKNOWN, "Nobody can tell the install mode of lighter-b.")
OLD_TARGET = replace(
    finding(
        "release-support",
        Status.CAUTION,
        "The target 17.12.4 is not the recommended release 17.12.5.",
        "Ask the change board whether 17.12.5 should be the target.",
        evidence("ferry-hq-a", "show version", "Wireless Controller Software, Version 17.09.04a", start=1),
    ),
    weight="caution",
    weighed="caution",
)
HOSTILE_FINDING = finding(
    "upgrade-activity",
    Status.BLOCK,
    f"An operation is in progress on {HOSTILE}.",
    f"Wait until {HOSTILE} is done.",
    evidence("breakwater-a", "show issu state detail", HOSTILE, STEERING, "\tOperation\tin progress \udcff"),
)

WAIVER = Waiver("pontoon", "flash-space", "R. [b]Vane", "New \x1bflash is ordered.", date(2027, 3, 31))

RESULT = Result(
    started=STARTED,
    finished=STARTED + timedelta(seconds=42),
    inventory="inventory/demo",
    pairs=(
        pair("quay", "Harbour Quay", Verdict.GO),
        pair("pontoon", "North Pontoon", Verdict.NO_GO, SHORT),
        pair("slipway", "Slipway Yard", Verdict.NO_GO, BUNDLE, replace(SHORT, statement="Too little on slipway-b.")),
        pair("buoyyard", "Buoy Yard", Verdict.NO_GO, OUT_OF_STEP, days=1),
        pair("lighter", "Lighter Basin", Verdict.UNDECIDED, UNREACHED, UNTOLD, standby_reached=False, days=1),
        pair("ferry-hq", "Ferry Head Office, second floor", Verdict.GO, OLD_TARGET, days=2),
        pair("breakwater", f"Breakwater {HOSTILE}", Verdict.NO_GO, HOSTILE_FINDING, days=2),
    ),
)

_LIGHTER = RESULT.pairs[4]
UNHEARD = replace(
    RESULT,
    pairs=(
        replace(
            _LIGHTER,
            members=(
                _LIGHTER.members[0],
                replace(_LIGHTER.members[1], unreached_because="its host key isn't known: run `readypair trust`"),
            ),
            steps=tuple(Step(rule, f"Mend {rule}.", When.ANY_TIME, False) for rule in ("boot-variable", "pair-state")),
            left_unknown=("install-mode", "pair-state"),
        ),
    ),
)
"""A pair of which one member's silence alone leaves two rules unknown, and which has a step besides."""


def fleet_of(pairs: int) -> Result:
    """The sample's pairs over and over under numbered names: a large fleet."""
    seven: Sequence[PairResult] = RESULT.pairs
    many = (seven[number % len(seven)] for number in range(pairs))
    return replace(
        RESULT,
        pairs=tuple(replace(one, pair=replace(one.pair, name=f"{one.pair.name}-{n}")) for n, one in enumerate(many)),
    )


_BECAUSE = "the sweep's deadline of 45 min came before it was asked"
LATE = replace(
    RESULT,
    ended=Ended.DEADLINE,
    pairs=(
        *RESULT.pairs,
        replace(
            pair("tender", "Tender Stage", Verdict.UNDECIDED, UNREACHED),
            members=(
                MemberResult("tender-a", None, False, None, _BECAUSE),
                MemberResult("tender-b", None, False, None, _BECAUSE),
            ),
            left_unknown=("pair-state",),
            in_time=False,
        ),
    ),
)
"""The same with a pair more, which the sweep's deadline came before."""
