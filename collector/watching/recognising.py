"""Which stage of an upgrade a poll shows, by what the controllers say, and whether it proves that all is done.

Every witness is heard. A stage is never told by time alone, and from any starting point as well as words allow; what
an earlier poll saw (`Recall`) only settles what the words leave open. `done` needs both members' own proof in one poll.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from collector.finding import Answer, Status
from collector.nights.state import ap_names
from collector.rules import config_sync, pair_state, upgrade_activity
from collector.rules.parts import with_capital
from collector.rules.witnesses import running_releases
from collector.snapshot import Snapshot
from collector.watching import hearing
from collector.watching.hearing import MISMATCHES, is_gone, is_hot
from collector.watching.sighting import Baseline, Mark, MemberSighting, Recall, SeenStage, Sighting, place_of
from parsers.facts.access_points import ApSummary
from parsers.facts.redundancy import ConfigSync, Redundancy
from parsers.facts.software import Version
from parsers.facts.upgrade import IssuState
from parsers.release import Release

_ABORTING = ("abort", "rollback", "rolling back")
_ROLLED_BACK = re.compile(r"roll(?:ed|ing)?[ -]?back|abort", re.IGNORECASE)
_CRASHED = re.compile(
    r"crash|fault|exception|panic|watchdog|critical (?:process|software)|unexpected|segmentation", re.IGNORECASE
)
_FORCED = re.compile(r"forced|user|none|issu|not known|unknown", re.IGNORECASE)
_JUST_NOW = 3 * 3600
_CLOCK_SLACK = 90


def baseline_of(snapshot: Snapshot) -> Baseline:
    """What a poll before the window tells of the access points and clients."""
    active = next((m.name for m in _members(snapshot, Release(0, 0, 0)) if m.role == "active"), None)
    return Baseline(snapshot.moment, ap_names(snapshot), hearing.clients(snapshot, active))


def sight(
    number: int, snapshot: Snapshot, target: str, before: Sighting | None, baseline: Baseline | None = None
) -> Sighting:
    """What a poll proves; `before` is the sighting of the poll before, None for the first one.

    The first one counts its access points against those of the baseline, where there is one.

    ValueError where the target is no release.
    """
    poll = _Poll(snapshot, Release.parse(target), before, baseline or Baseline())
    stage, clause = poll.stage()
    first = [member.name for member in poll.members]
    return Sighting(
        number=number,
        moment=snapshot.moment,
        stage=stage,
        statement=with_capital(f"{clause}.", first),
        members=poll.members,
        evidence=hearing.lines(snapshot, poll.target),
        aps=poll.aps,
        ap_names=poll.names,
        clients=hearing.clients(snapshot, poll.active.name if poll.active else None),
        timer=None if poll.upgrade.timer is None else "active" if poll.upgrade.timer else "inactive",
        timer_seconds=poll.upgrade.seconds_left,
        operating=poll.upgrade.operating,
        mismatches=hearing.mismatches(snapshot),
        marks=tuple(poll.marks(stage)),
        against=poll.against,
        open=poll.open,
        recall=poll.recall(stage),
    )


def _members(snapshot: Snapshot, target: Release) -> tuple[MemberSighting, MemberSighting]:
    first, second = (hearing.member_sighting(snapshot, member, target) for member in snapshot.members)
    return first, second


class _Poll:
    """One poll, heard; the questions below are asked of it."""

    def __init__(self, snapshot: Snapshot, target: Release, before: Sighting | None, baseline: Baseline) -> None:
        self.snapshot, self.target = snapshot, target
        self.before = before
        most = len(baseline.aps) if baseline.aps is not None else None
        self.was = before.recall if before is not None else Recall(most_aps=most, since=snapshot.moment)
        self.members = _members(snapshot, target)
        self.upgrade = hearing.upgrade(snapshot)
        active = [member for member in self.members if member.role == "active"]
        self.active = active[0] if len(active) == 1 else None
        self.other = next((m for m in self.members if self.active is not None and m is not self.active), None)
        self.names = ap_names(snapshot)
        self.aps = len(self.names) if self.names is not None else self._counted()
        self.against, self.open = self._lacking()

    def _counted(self) -> int | None:
        speaker = next((m for m in self.snapshot.members if self.active and m.name == self.active.name), None)
        facts = speaker.read("show ap summary", ApSummary).facts if speaker is not None else None
        return facts.count if facts is not None else None

    # Whether it is done.

    def _lacking(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """What contradicts that it is done, and what isn't known of it; both empty only where all is proved."""
        against, unknown = self._contradicting(), tuple(self._unknown())
        if against or not all(member.answered for member in self.members):
            return against, unknown
        against, more = hearing.installed_openly(self.snapshot, self.target)
        answers = list(self._answers())
        blocks, opens = (
            tuple(each.statement.rstrip(".") for each in answers if each.status is status or each.unsure)
            for status in (Status.BLOCK, Status.UNKNOWN)
        )
        return (*against, *blocks), (*unknown, *more, *opens)

    def _answers(self) -> Iterator[Answer]:
        yield pair_state.told(self.snapshot)
        yield upgrade_activity.told(self.snapshot)
        yield config_sync.told(self.snapshot, (MISMATCHES,))

    def _contradicting(self) -> tuple[str, ...]:
        found = []
        for member in self.members:
            if member.on_target is False:
                found.append(f"{member.name} runs {member.release}")
            if member.target is not None and member.target != ("C",):
                states = ", ".join(member.target)
                found.append(f"{self.target} is {f'{states}, not C' if states else 'not installed'} on {member.name}")
        if self.upgrade.timer:
            found.append("the auto-abort timer is running")
        if self.upgrade.operating:
            found.append("the upgrade is in progress")
        if self.upgrade.says(*_ABORTING):
            found.append("it is being undone")
        return tuple(found)

    def _unknown(self) -> Iterator[str]:
        for member, of in zip(self.members, self.snapshot.members, strict=True):
            if not member.answered:
                yield f"{member.name} gave no answer"
                continue
            words = running_releases(self.snapshot, of)
            own = [word for word in (words[0], *words[1]) if word.by == member.name]
            if any(word.value is None and not word.refused for word in own) or all(word.value is None for word in own):
                yield f"{member.name} doesn't say itself which release it runs"
            elif member.on_target is None:
                yield f"the release of {member.name} isn't told alike"
            if member.target is None:
                yield f"what is committed on {member.name} isn't known"
        if self.upgrade.timer is None:
            yield "nobody tells of the auto-abort timer"
        if self.upgrade.operating is None:
            yield "nobody says that no upgrade is in progress"

    # The stage.

    def stage(self) -> tuple[SeenStage, str]:
        """The stage, and a clause that says it."""
        if not any(member.answered for member in self.members):
            return "unclear", f"neither {self.members[0].name} nor {self.members[1].name} answers"
        if hearing.both_active(self.snapshot):
            return "unclear", "both members say that they are active"
        active, other = self.active, self.other
        if active is None or other is None:
            return "unclear", f"it isn't known who is active: {self._answering()}"
        if self.upgrade.says(*_ABORTING):
            return "rolled-back", f"the pair is going back to the old release: {self._each()}"
        if active.on_target is None:
            return "unclear", f"it isn't known which release the active {active.name} runs"
        if active.on_target:
            return self._with_new_active(active, other)
        return self._with_old_active(active, other)

    def _with_old_active(self, active: MemberSighting, other: MemberSighting) -> tuple[SeenStage, str]:
        began = self._has_begun()
        if other.on_target is True:
            if self._beyond("switch-over"):
                return "rolled-back", f"{active.name} is active on {active.release} again: the pair is going back"
            if is_hot(other):
                return "synchronise", f"{other.name} is the hot standby on {self.target}: it can be switched over to"
            state = other.state or "in a state that isn't known"
            return "synchronise", f"{other.name} runs {self.target} and is {state}: it synchronises with {active.name}"
        if self._went_back(active, other):
            if other.on_target is False and is_hot(other):
                return "rolled-back", f"both members run {active.release} again and {other.name} is the hot standby"
            return "rolled-back", f"{active.name} runs {active.release} again, and {other.name} is {_how(other)}"
        if self.upgrade.timer or (began and is_gone(other)):
            return "reload-standby", f"{other.name} is {_how(other)}, and {active.name} serves on {active.release}"
        states = {state for member in self.members for state in member.target or ()}
        if (began is False and states) or self.upgrade.operating:
            held = "being added" if not states else "installed and not activated"
            return "expand", f"{self.target} is {held}; {active.name} is active on {active.release}"
        if active.target == () and self.upgrade.operating is False:
            beside = f", {other.name} is {_how(other)}" if not is_hot(other) else ""
            return "before", f"the upgrade hasn't begun: {active.name} is active on {active.release}{beside}"
        return "unclear", f"{active.name} is active on {active.release}, and nothing tells how far the upgrade is"

    def _has_begun(self) -> bool | None:
        """Whether the target has been activated, by the words; None where nobody tells."""
        if self.upgrade.timer or self.upgrade.says("loadversion", "standby activated", "switched-over", "runversion"):
            return True
        if any(set(member.target or ()) & {"U", "D"} for member in self.members):
            return True
        return False if self.upgrade.timer is False else None

    def _went_back(self, active: MemberSighting, other: MemberSighting) -> bool:
        """Whether both are on, or on their way to, the old release after the target had been activated."""
        if self.upgrade.timer is not False or self.upgrade.operating is not False or active.on_target is not False:
            return False
        if self.was.activated:
            return True
        return self.was.stage == "unclear" and any(self._rolled_back_of_late(each) for each in (active, other))

    def _rolled_back_of_late(self, member: MemberSighting) -> bool:
        said = _ROLLED_BACK.search(member.reload_reason or "") is not None
        return said and self._booted_of_late(member)

    def _booted_of_late(self, member: MemberSighting) -> bool:
        """Whether a member came up since the watch began; at its first poll, not long before."""
        if member.uptime_seconds is None:
            return False
        watched = (self.snapshot.moment - (self.was.since or self.snapshot.moment)).total_seconds()
        # Uptimes are printed in whole minutes.
        return member.uptime_seconds < (watched - _CLOCK_SLACK if self.before is not None else _JUST_NOW)

    def _with_new_active(self, active: MemberSighting, other: MemberSighting) -> tuple[SeenStage, str]:
        committed = "C" in (*(active.target or ()), *(other.target or ())) or self.upgrade.committing
        if other.on_target is True and not self.against and not self.open:
            first, second = (member.name for member in self.members)
            return (
                "done",
                f"{first} and {second} both run {self.target}, committed, and {other.name} is the hot standby",
            )
        if committed:
            return self._committed(active, other)
        if other.on_target is not True:
            if self._beyond("restart-aps"):
                return self._beyond_now(f"{other.name} is {_how(other)}, and {active.name} serves on {self.target}")
            clause = f"{active.name} is active on {self.target}, and {other.name} is {_how(other)}"
            if is_gone(other) and self.upgrade.says("standby activated", "loadversion"):
                return "switch-over", clause
            return "reload-other", clause
        if not is_hot(other) and not self._beyond("restart-aps"):
            return "reload-other", f"{other.name} runs {self.target}, and is {other.state or 'of unknown state'}"
        return self._access_points(active, other)

    def _access_points(self, active: MemberSighting, other: MemberSighting) -> tuple[SeenStage, str]:
        both = f"both members run {self.target}"
        both += f" and {other.name} is the hot standby" if is_hot(other) else f", but {other.name} is {_how(other)}"
        most = self.was.most_aps
        if self.aps is None:
            return self._beyond_now(f"{both}; how many access points are joined isn't known")
        if most is not None and self.aps < most:
            return "restart-aps", f"{both}; {self.aps:,} of {most:,} access points are joined"
        if self.was.dipped:
            return "validate", f"{both}; {self.aps:,} access points are joined, as many as before"
        return "restart-aps", f"{both}; {self.aps:,} access points are joined, none has left since this watch began"

    def _beyond_now(self, clause: str) -> tuple[SeenStage, str]:
        return (self.was.stage if self.was.stage in ("restart-aps", "validate") else "restart-aps"), clause

    def _committed(self, active: MemberSighting, other: MemberSighting) -> tuple[SeenStage, str]:
        missing = [*self.against, *self.open]
        why = f": {missing[0]}" if missing else ""
        if "C" not in (*(active.target or ()), *(other.target or ())):
            return "commit", f"the commit of {self.target} has begun"
        return "commit", f"{self.target} is committed, but not all of it is proved{why}"

    def _beyond(self, stage: SeenStage) -> bool:
        """Whether this watch has already seen the stage or a later one."""
        place, wanted = place_of(self.was.stage), place_of(stage)
        return place is not None and wanted is not None and wanted <= place

    def _answering(self) -> str:
        return "; ".join(f"{m.name} {'answers' if m.answered else 'gives no answer'}" for m in self.members)

    def _each(self) -> str:
        said = [f"{m.name} runs {m.release}" if m.release else f"{m.name} is {_how(m)}" for m in self.members]
        return " and ".join(said)

    # Signs of failure.

    def marks(self, stage: SeenStage) -> Iterator[Mark]:
        """What in this poll is a sign of a failure."""
        yield from self._redundancy_marks(stage)
        for speaker in self.snapshot.members:
            reading = speaker.read(MISMATCHES, ConfigSync)
            if reading.facts is not None and (reading.facts.lines or reading.facts.empty is False):
                clause = f"{len(reading.facts.lines) or 'some'} lines of configuration didn't synchronise"
                yield Mark("config-mismatch", "", clause, reading.evidence("lines"))
                break
        if self.upgrade.says(*_ABORTING) or stage == "rolled-back":
            lines = tuple(
                line
                for member in self.snapshot.members
                for line in member.read(hearing.ISSU, IssuState).evidence("operation", "stage")
            )
            yield Mark("rolling-back", "", "the upgrade is being undone or has been", lines)
        yield from self._crashes()

    def _redundancy_marks(self, stage: SeenStage) -> Iterator[Mark]:
        if hearing.both_active(self.snapshot):
            yield Mark("both-active", "", "both members say that they are active", hearing.lines(*self._asked))
        other = self.other
        if other is None or self.active is None:
            return
        if other.state and not is_gone(other) and not is_hot(other) and other.state.upper().startswith("STANDBY"):
            yield Mark("standby-cold", other.name, f"{other.name} is {other.state}", hearing.lines(*self._asked))
        new_active = self.active.on_target is True and other.on_target is False
        if new_active and stage not in ("rolled-back",) and other.answered:
            clause = f"{other.name} runs {other.release} beside {self.active.name} on {self.target}"
            yield Mark("wrong-release", other.name, clause, hearing.lines(*self._asked))

    @property
    def _asked(self) -> tuple[Snapshot, Release]:
        return self.snapshot, self.target

    def _crashes(self) -> Iterator[Mark]:
        for member, of in zip(self.members, self.snapshot.members, strict=True):
            if _CRASHED.search(member.reload_reason or "") and self._booted_of_late(member):
                clause = f"{member.name} came back from a crash ({member.reload_reason})"
                evidence = of.read("show version", Version).evidence("last_reload_reason", "uptime_seconds")
                yield Mark("crashed", member.name, clause, evidence)
        lost = self._lost_active()
        if lost is not None:
            yield lost

    def _lost_active(self) -> Mark | None:
        """A change of the active one that nobody asked for: by the controllers' word for it, or with no word at all."""
        if self.active is None:
            return None
        of = next(m for m in self.snapshot.members if self.active is not None and m.name == self.active.name)
        reading = of.read("show redundancy", Redundancy)
        if reading.facts is None or reading.facts.switchovers is None:
            return None
        count, reason = reading.facts.switchovers, reading.facts.last_switchover_reason or ""
        more = self.was.switchovers is not None and count > self.was.switchovers
        evidence = reading.evidence("switchovers", "last_switchover_reason", "this.state")
        if more and not _FORCED.search(reason):
            was = self.was.active or "the other one"
            return Mark("active-lost", was, f"{self.active.name} took over from {was} ({reason})", evidence)
        changed = self.was.active is not None and self.was.active != self.active.name
        # Controllers that were both down count anew: then there was no switchover, and yet another one is active.
        restarted = self.was.switchovers is not None and count < self.was.switchovers + 1 and count == 0
        if changed and restarted and not self._went_through_rollback():
            clause = f"{self.active.name} came up as the active one instead of {self.was.active}"
            return Mark("active-lost", self.was.active or "", clause, evidence)
        return None

    def _went_through_rollback(self) -> bool:
        return self.was.stage == "rolled-back" or self.upgrade.says(*_ABORTING)

    # What the next poll needs to remember.

    def recall(self, stage: SeenStage) -> Recall:
        """What the next poll remembers."""
        activated = (
            self.was.activated
            or bool(self.upgrade.timer)
            or any(member.on_target or set(member.target or ()) & {"U"} for member in self.members)
        )
        begins_anew = stage in ("before", "expand")
        most = max((each for each in (self.was.most_aps, self.aps) if each is not None), default=None)
        both_new = stage in ("restart-aps", "validate", "commit")
        dipped = self.was.dipped or (both_new and self.aps is not None and most is not None and self.aps < most)
        return replace(
            self.was,
            stage=stage if stage != "unclear" else self.was.stage,
            active=self.active.name if self.active is not None else self.was.active,
            standby_hot=is_hot(self.other) if self.other is not None else self.was.standby_hot,
            activated=activated and not begins_anew,
            most_aps=most,
            dipped=dipped and not begins_anew,
            switchovers=self._switchovers(),
        )

    def _switchovers(self) -> int | None:
        facts = [m.read("show redundancy", Redundancy).facts for m in self.snapshot.members]
        counts = [each.switchovers for each in facts if each is not None and each.switchovers is not None]
        return max(counts, default=self.was.switchovers)


def _how(member: MemberSighting) -> str:
    """How a member is, in a few words."""
    if is_gone(member):
        return "away"
    runs = f"on {member.release}" if member.release else "on a release that isn't known"
    return f"{member.state or 'in a state that is not known'} {runs}"
