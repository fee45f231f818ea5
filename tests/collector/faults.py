"""The faults that a network has in store, each as it meets one pair of a sweep over real SSH.

`python -m tests.collector.faults` tries them all and prints what was said of each.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from collector import demo, job, rules, simulated, ssh
from collector.budget import Budget
from collector.capture import Capture
from collector.credentials import Credentials
from collector.finding import Verdict
from collector.result import Ended, PairResult
from collector.simulated import ADDRESS, LIMITED_SHELL, Behaviour
from collector.simulated_shell import Answers, Drop
from collector.sweep import sweep
from inventory.opening import Fleet, open_inventory
from parsers import catalogue

FAULTY, HEALTHY = "quay", "tidewater"
A, B = "quay-a", "quay-b"
SECRET = "secret-of-the-test"
SOON: Mapping[str, float] = {"connect_seconds": 20, "greeting_seconds": 3, "prompt_seconds": 5}
"""Enough for a slow machine to begin with what answers, and soon over with what doesn't."""

WITHIN_SECONDS = 300.0
"""A sweep that hasn't ended by itself by then hangs, on whatever machine."""

BANNER = "\n".join(
    [
        "#" * 200,
        "# Authorised staff only >>> quay-b-stby# <<<",
        "quay-b-stby#",
        "duty>",
        "quay-b-stby#show version",
        " --More-- ",
        "Password: ",
        "> " * 90,
    ]
)


@dataclass(frozen=True)
class Fault:
    """What is wrong with the pair, what it comes to, and a part of what a person is told.

    At `reloads_at` quay-b drops its session, and is back at once as after a reload: the standby is cold.

    `of` are the members' behaviours, `plays` whose recording a member serves, under its name, in place of its own.
    `member` is the one whose `unreached_because` holds `says`; else the finding of `rule` does, and where that is
    empty there is nothing to say. `asked_of` is the only command that the limits (`patience`) are short for.
    """

    name: str
    verdict: Verdict
    of: Mapping[str, Behaviour] = field(default_factory=dict)
    plays: Mapping[str, str] = field(default_factory=dict)
    member: str = ""
    rule: str = ""
    says: str = ""
    patience: float = 1.0
    secret: str | None = None
    reloads_at: str = ""

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True)
class Tried:
    """What came of a fault: the result of the pair that has it, of the one beside it, and how the sweep ended."""

    faulty: PairResult
    healthy: PairResult
    ended: Ended

    def said(self, fault: Fault) -> str:
        """What a person is told of the fault."""
        if fault.member:
            member = next(each for each in self.faulty.members if each.name == fault.member)
            return member.unreached_because or ""
        found = [each.statement for each in self.faulty.findings if each.rule == fault.rule]
        return found[0] if found else ""


GO, UNDECIDED, NO_GO = Verdict.GO, Verdict.UNDECIDED, Verdict.NO_GO

# No rule that blocks rests on them.
_LAST = ("show ntp status", "show clock", "show wireless management trustpoint")
_VERSION, _IMAGES = "show version", "show ap image"


def _of_b(name: str, verdict: Verdict, says: str, **switches: Any) -> Fault:
    """A fault that keeps readypair from quay-b altogether."""
    return Fault(name, verdict, {B: Behaviour(**switches)}, member=B, says=says)


FAULTS = (
    _of_b(
        "authentication refused",
        UNDECIDED,
        "refused the login of 'duty' by password",
        refuse_authentication=True,
    ),
    _of_b(
        "account locked",
        UNDECIDED,
        "refused the login of 'duty' by password: it says `% The account is locked`",
        locked="% The account is locked",
    ),
    _of_b("port closed", UNDECIDED, "nothing listens at 127.0.0.1:", unreachable=True),
    _of_b("silent after the handshake", UNDECIDED, "took the connection and said nothing within 3 s", deaf=True),
    _of_b("silent at the login", UNDECIDED, "didn't say within 3 s whether it lets in", silent_at_login=True),
    _of_b("silent after the login", UNDECIDED, "no prompt within 5 s after the login", silent_after_login=True),
    Fault(
        "a command never answered",
        UNDECIDED,
        {B: Behaviour(silent=[_VERSION])},
        rule="install-mode",
        says="no whole answer within 6 s",
        patience=0.2,
    ),
    Fault(
        "no command ever answered",
        UNDECIDED,
        {B: Behaviour(silent=[command.text for command in catalogue.COMMANDS])},
        member=B,
        says="it answered none of three commands in a row: no whole answer within 3 s",
        patience=0.1,
    ),
    Fault(
        "session dropped in an answer, once",
        GO,
        {B: Behaviour(cuts=1, cut_command="show redundancy")},
    ),
    Fault(
        "session dropped in an answer, every time",
        UNDECIDED,
        {B: Behaviour(cuts=1000, cut_command="show redundancy")},
        rule="pair-state",
        says="the session was lost twice",
    ),
    *(
        Fault(
            f"session dropped at `{command}`, and back after a reload",
            NO_GO,
            rule="pair-state",
            says="quay-b is STANDBY COLD, neither ACTIVE nor STANDBY HOT",
            reloads_at=command,
        )
        for command in ("show install summary", "show running-config | include NVRAM config last updated")
    ),
    Fault(
        "session dropped for good when all that blocks is asked",
        UNDECIDED,
        {B: Behaviour(cuts=1000, cut_command="show ntp status")},
        rule="pair-state",
        says="it stopped answering later: the session was lost twice",
    ),
    Fault(
        "nothing answered any more when all that blocks is asked",
        UNDECIDED,
        {B: Behaviour(silent=_LAST)},
        rule="pair-state",
        says="it stopped answering later: it answered none of three commands in a row: no whole answer within 3 s",
        patience=0.1,
    ),
    Fault(
        "switchover while it is asked",
        UNDECIDED,
        {B: Behaviour(switches_over_at="show install summary")},
        rule="install-state",
        says="the controller changed its role while it answered: its prompt quay-b-stby# became quay-b#",
    ),
    Fault(
        "switchover when all that blocks is asked",
        UNDECIDED,
        {B: Behaviour(switches_over_at="show ntp status")},
        rule="pair-state",
        says="the controller changed its role while it answered: its prompt quay-b-stby# became quay-b#",
    ),
    Fault(
        "switchover at the very last command",
        UNDECIDED,
        {B: Behaviour(switches_over_at="show running-config | include NVRAM config last updated")},
        rule="pair-state",
        says="the controller changed its role while it answered: its prompt quay-b-stby# became quay-b#",
    ),
    Fault(
        "switchover that drops the session",
        UNDECIDED,
        {B: Behaviour(cuts=1, cut_command="show ntp status", switches_over_at="show ntp status")},
        rule="pair-state",
        says="the controller changed its role while it answered: its prompt quay-b-stby# became quay-b#",
    ),
    Fault(
        "another name in the prompt between two commands",
        UNDECIDED,
        {B: Behaviour(renamed_at=_VERSION)},
        rule="install-mode",
        says="no whole answer within 6 s; its last line looks like another prompt, harbour-b-stby#, than quay-b-stby#",
        patience=0.2,
    ),
    Fault(
        "another name in the prompt, and the session dropped",
        UNDECIDED,
        {B: Behaviour(renamed_at="show boot", cuts=1, cut_command="show ntp status")},
        rule="install-mode",
        says="another name answered than before: the prompt quay-b-stby# became harbour-b-stby#",
        patience=0.2,
    ),
    Fault("banner full of # and >", GO, {B: Behaviour(greeting=BANNER)}),
    Fault(
        "pager that can't be turned off",
        UNDECIDED,
        {B: Behaviour(stubborn_pager=True)},
        rule="install-mode",
        says="the pager could not be turned off",
    ),
    Fault("one byte at a time", GO, {B: Behaviour(one_byte=True)}),
    Fault("log lines inside tables", GO, {A: Behaviour(log_every=1), B: Behaviour(log_every=3)}),
    Fault("colour escapes", GO, {A: Behaviour(colours=True), B: Behaviour(colours=True)}),
    _of_b(
        "coloured prompt",
        UNDECIDED,
        "no prompt within 5 s after the login; the last line that came is \\x1b[",
        coloured_prompt=True,
    ),
    Fault(
        "bytes that are no UTF-8",
        NO_GO,
        {B: Behaviour(garbage=True)},
        rule="pair-state",
        says="`show redundancy` on quay-b",
    ),
    Fault(
        "an answer of 50 MB",
        UNDECIDED,
        {A: Behaviour(flood_command=_IMAGES, flood_bytes=50_000_000)},
        rule="ap-staging",
        says="the answer is longer than 20 MB",
    ),
    Fault(
        "a clock decades off",
        UNDECIDED,
        {B: Behaviour(clock_years=-33)},
        rule="mutual-view",
        says="so the answers of quay-b may be old ones",
    ),
    Fault(
        "a limited standby shell",
        UNDECIDED,
        {B: Behaviour(only=LIMITED_SHELL - {_VERSION})},
        rule="install-mode",
        says="quay-b refused `show version`",
    ),
    Fault(
        "user level without privilege",
        UNDECIDED,
        {A: Behaviour(user_level=True), B: Behaviour(user_level=True)},
        rule="pair-state",
        says="refused `show redundancy`",
    ),
    Fault("user level with the enable secret", GO, {A: Behaviour(user_level=True)}, secret=SECRET),
    _of_b("wrong host key", UNDECIDED, "its host key has changed", strange_host_key=True),
    Fault(
        "both addresses lead to the active one",
        NO_GO,
        {B: Behaviour(name=A)},
        {B: A},
        rule="one-active",
        says="oth addresses lead to the same controller",
    ),
    Fault(
        "both addresses lead to the standby",
        NO_GO,
        {A: Behaviour(name=f"{B}-stby")},
        {A: B},
        rule="one-active",
        says="oth addresses lead to the same controller",
    ),
    Fault(
        "the second address leads to another pair's standby",
        NO_GO,
        {B: Behaviour(name="estuary-b-stby")},
        {B: "estuary-b"},
        rule="mutual-view",
        says="aren't partners",
    ),
    Fault(
        "the second address leads to another pair's active one",
        NO_GO,
        {B: Behaviour(name="estuary-a")},
        {B: "estuary-a"},
        rule="mutual-view",
        says="aren't partners",
    ),
    Fault(
        "an answer holds the bare prompt and pauses there",
        UNDECIDED,
        {B: Behaviour(pauses_at="show redundancy")},
        rule="pair-state",
        says="its answers no longer matched what was asked",
    ),
    Fault(
        "the last answer holds the bare prompt and pauses there",
        UNDECIDED,
        {B: Behaviour(pauses_at="show running-config | include NVRAM config last updated")},
        rule="pair-state",
        says="its answers no longer matched what was asked",
    ),
)


@cache
def undamaged() -> tuple[Verdict, Verdict]:
    """The verdicts of both pairs by their recordings."""
    fleet = _opened()
    job.prepare_recorded(fleet.nornir, fleet.pairs, demo.fixtures_folder())
    shift = demo.EVENING - datetime.now(UTC)
    pairs = [pair for pair in fleet.pairs if pair.name in (FAULTY, HEALTHY)]
    first, second = sweep(fleet, pairs, connection=job.RECORDED, workers=2, shift=shift).pairs
    return first.verdict, second.verdict


def attempt(fault: Fault, folder: Path, *, unfit: bool = False) -> Tried:
    """Sweep the pair that has the fault, and a healthy one beside it, over SSH on loopback.

    `unfit` pairs are no-go besides: the standby isn't hot, by the word of both.
    """
    fleet = _opened()
    pairs = [pair for pair in fleet.pairs if pair.name in (FAULTY, HEALTHY)]
    names = [member.name for pair in pairs for member in pair.members]
    own = {name: demo.fixtures_folder() / fault.plays.get(name, name) for name in names}
    if unfit:
        own |= {name: _cold(own[name], folder / "recordings") for name in (A, B)}
    let_in = simulated.Credentials("duty", "pass-word-of-the-test", SECRET)
    reloads = {B: Reloads(own[B], _cold(own[B], folder / "after"), fault.reloads_at)} if fault.reloads_at else None
    with simulated.fleet(own, fault.of, let_in, answers=reloads) as running, demo.led(fleet, running.ports, ADDRESS):
        (folder / "known_hosts").write_text(running.known_hosts_text())
        found = dict.fromkeys(names, Credentials(let_in.username, let_in.password, secret=fault.secret))
        ssh.prepare(fleet.nornir, pairs, found, known_hosts=folder / "known_hosts")
        _hurry(fleet, fault)
        shift = demo.EVENING - datetime.now(UTC)
        budget = Budget(WITHIN_SECONDS)
        result = sweep(fleet, pairs, connection="ssh", workers=2, shift=shift, budget=budget)
    first, second = result.pairs
    return Tried(first, second, result.ended)


class Reloads:
    """Answers by one recording, drops the session at a command, and from then on answers by another."""

    def __init__(self, before: Path, after: Path, at: str) -> None:
        self._now, self._after, self._at = Answers(before), Answers(after), at

    def capture(self, command: str) -> Capture | None:
        """The answer to a command; Drop at the one."""
        if command == self._at and self._now is not self._after:
            self._now = self._after
            raise Drop
        return self._now.capture(command)

    @property
    def standby(self) -> bool:
        """Whether its prompt is a standby's."""
        return self._now.standby


def _cold(recording: Path, folder: Path) -> Path:
    """A copy of a recording in which the standby isn't hot."""
    copy = folder / recording.name
    shutil.copytree(recording, copy)
    for each in copy.glob("*.txt"):
        each.write_bytes(each.read_bytes().replace(b"STANDBY HOT", b"STANDBY COLD"))
    return copy


def _hurry(fleet: Fleet, fault: Fault) -> None:
    """Shorten the limits of the members that have the fault, and only theirs."""
    fleet.nornir.config.ssh.config_file = str(Path("/nonexistent"))
    for name in fault.of:
        options = fleet.nornir.inventory.hosts[name].connection_options[ssh.CONNECTION]
        options.extras = {**(options.extras or {}), **SOON, "patience": fault.patience}


def _opened() -> Fleet:
    return open_inventory(demo.inventory_folder(), rules.waivable())


def main() -> None:
    """Print a table of what was said of each fault."""
    for fault in FAULTS:
        with TemporaryDirectory() as folder:
            tried = attempt(fault, Path(folder))
        print(f"| {fault} | {tried.faulty.verdict} | {tried.said(fault)} |", flush=True)


if __name__ == "__main__":
    main()
