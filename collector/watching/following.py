"""Following a window: sightings folded, one after the other, into what happened and what to warn of.

`follow` is a pure fold: whoever folds the stored sightings again has the same state, and takes up where it was. `done`
is said by a sighting that proves it and by nothing else, and taken back by a later one that contradicts it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from collector.plan.plan import STAGES, Plan
from collector.watching.course import another_night, course_of
from collector.watching.hearing import is_gone, is_hot
from collector.watching.returning import returned
from collector.watching.sighting import (
    Away,
    Baseline,
    Happening,
    SeenStage,
    Sighting,
    StageRun,
    Warned,
    WarningId,
    WatchState,
    place_of,
)
from collector.watching.warning import AWAY_IS_EXPECTED, Reason, is_later, reasons
from collector.watching.wording import aps, bounds, by_plan, clock, named, spoken, title
from inventory.pairs import Pair

# A last moment is announced so long before.
_NEAR = timedelta(minutes=15)
_BLIND_POLLS = 2
_GOOD_POLLS = 2
# Between two rounds of restarts all access points are joined for a while: only what lasts is their end.
_FULL_POLLS = 3
_FULL_SECONDS = 180.0
_GAP = timedelta(minutes=15)
_NOT_SEEN: tuple[SeenStage, ...] = ("copy", "stage-aps")


def begin(
    pair: Pair, target: str, plan: Plan | None = None, baseline: Baseline | None = None, clients_percent: float = 70.0
) -> WatchState:
    """The state of a watch before its first poll; so many of the baseline's clients the policy wants back."""
    first, second = pair.members
    return WatchState(
        pair.name, target, (first.name, second.name), course_of(plan), baseline or Baseline(), clients_percent
    )


def follow(state: WatchState, sighting: Sighting) -> tuple[WatchState, tuple[Happening, ...]]:
    """The state after another sighting, and what it brought, in the order in which somebody wants to read it."""
    fold = _Fold(state, sighting)
    fold.see()
    return fold.state, tuple(fold.happenings)


class _Fold:
    """One sighting being folded into a state."""

    def __init__(self, state: WatchState, sighting: Sighting) -> None:
        self.old = state
        self.sighting = sighting
        self.state = replace(state, latest=sighting, before=state.latest)
        self.happenings: list[Happening] = []

    def see(self) -> None:
        self._begin()
        self._sight_of_the_pair()
        self.state = replace(self.state, aps=returned(self.old, self.sighting))
        back, lost = self._members() if self.sighting.answered else ((), ())
        self._timer()
        self._stage()
        for each in back:
            self._say(replace(each, stage=self._stage_now()))
        if self.sighting.answered:
            self._switchover()
        self._warnings()
        for each in lost:
            self._say(self._as_expected(each))
        if self.state.done is not None and self.old.done is None:
            self._done()
        self._turning_back()
        if self.sighting.stage != "unclear":
            self.state = replace(self.state, clear=self.sighting)

    def _say(self, happening: Happening) -> None:
        self.happenings.append(replace(happening, poll=self.sighting.number))

    def _now(self) -> datetime:
        return self.sighting.moment

    def _stage_now(self) -> SeenStage:
        return self.state.run.stage if self.state.run is not None else self.sighting.stage

    # The watch itself.

    def _begin(self) -> None:
        before = self.old.latest
        if before is None:
            other = another_night(self.state.course, self._now())
            said = f"Watching. {self.sighting.statement}{self._gone_since_the_baseline()} {other}".rstrip()
            self._say(Happening(self._now(), "began", self.sighting.stage, said))
        elif self._now() - before.moment > _GAP:
            said = f"No poll was taken between {clock(before.moment)} and {clock(self._now())}."
            self._say(Happening(self._now(), "watcher-sees", self._stage_now(), said))

    def _gone_since_the_baseline(self) -> str:
        """What a watch that begins late can't have seen leave."""
        gone = sorted(set(self.state.baseline.aps or ()) - set(self.sighting.ap_names or ()))
        if self.sighting.ap_names is None or not gone:
            return ""
        arent = "isn't" if len(gone) == 1 else "aren't"
        was = "was" if len(gone) == 1 else "were"
        return f" {aps(len(gone))} that {was} here at the baseline {arent} joined: {named(gone)}."

    def _sight_of_the_pair(self) -> None:
        """Nobody answers: that may be the pair, or this watch's own network, and it says so."""
        state = self.state
        if self.sighting.answered:
            if state.blind_polls >= _BLIND_POLLS:
                said = f"The pair answers again; nobody had answered since {clock(state.blind_since or self._now())}."
                self._say(Happening(self._now(), "watcher-sees", self._stage_now(), said))
            self.state = replace(state, blind_since=None, blind_polls=0)
            return
        polls = state.blind_polls + 1
        since = state.blind_since or self._now()
        self.state = replace(state, blind_since=since, blind_polls=polls)
        if polls == _BLIND_POLLS:
            said = (
                f"Neither member has answered since {clock(since)}: this watch can't see. Either both are down, or its "
                "own way to them is."
            )
            remedy = "See from a console or from the network's own monitoring whether the pair serves."
            self._say(Happening(self._now(), "watcher-blind", self._stage_now(), said, remedy))

    def _members(self) -> tuple[tuple[Happening, ...], tuple[Happening, ...]]:
        """Who answers again and who is lost: told once the stage is known, which says whether it is as it should be."""
        back: list[Happening] = []
        lost: list[Happening] = []
        told = {away.name: away for away in self.old.away}
        now: list[Away] = []
        for member in self.sighting.members:
            away = told.get(member.name)
            if member.answered:
                if away is not None and away.told:
                    runs = f" on {member.release}" if member.release else ""
                    said = f"{member.name} answers again{runs}; it hadn't since {clock(away.since)}."
                    back.append(Happening(self._now(), "member-back", self._stage_now(), said, subject=member.name))
                continue
            away = Away(member.name, self._now()) if away is None else replace(away, polls=away.polls + 1)
            # One lost session is no loss of a member, unless its partner has lost it as well.
            if not away.told and (away.polls >= _BLIND_POLLS or is_gone(member)):
                said = f"{member.name} doesn't answer ({member.why_not})."
                if is_gone(member):
                    said = f"{member.name} is down: it doesn't answer ({member.why_not}), nor does its partner see it."
                lost.append(Happening(self._now(), "member-lost", self._stage_now(), said, subject=member.name))
                away = replace(away, told=True)
            now.append(away)
        self.state = replace(self.state, away=tuple(now))
        return tuple(back), tuple(lost)

    def _as_expected(self, lost: Happening) -> Happening:
        """The loss of a member that is down, as this stage has it or as what it is; of a lost session nothing more."""
        member, stage = self.sighting.member(lost.subject), self._stage_now()
        lost = replace(lost, stage=stage)
        if not is_gone(member) or self.sighting.stage == "unclear":
            return lost
        down = f"{member.name} is down"
        crashed = any(mark.kind in ("active-lost", "crashed") for mark in self.sighting.marks)
        if stage in AWAY_IS_EXPECTED and not crashed:
            return replace(lost, statement=lost.statement.replace(down, f"{down}, as this stage has it", 1))
        said = lost.statement.replace(down, f"Unplanned: {down}", 1)
        remedy = "Look at its console and its log. Don't go on to the next stage before both members answer."
        return replace(lost, statement=said, remedy=remedy, severity="warning")

    def _switchover(self) -> None:
        before = self.old.latest.recall.active if self.old.latest is not None else None
        now = self.sighting.recall.active
        if before is not None and now is not None and before != now:
            since = f"between {clock(self.old.latest.moment)} and {clock(self._now())}" if self.old.latest else ""
            said = f"{now} is active now instead of {before}, {since}."
            self._say(Happening(self._now(), "switchover", self._stage_now(), said, subject=now))

    def _timer(self) -> None:
        sighting = self.sighting
        if sighting.timer_seconds is not None:
            fires = sighting.moment + timedelta(seconds=sighting.timer_seconds)
            self.state = replace(self.state, timer_fires=fires)
            if self.state.activated is None:
                self.state = replace(self.state, activated=sighting.moment)
        elif sighting.timer == "inactive" and sighting.stage not in ("rolled-back", "unclear"):
            self.state = replace(self.state, timer_fires=None)

    # Stages.

    def _stage(self) -> None:
        stage, run = self.sighting.stage, self.state.run
        if stage == "unclear":
            self._contradiction()
            return
        if run is None:
            self._open(stage, None, self._now())
            return
        if run.stage == "done" and stage != "done":
            if not self.sighting.against:
                # It isn't seen any more, and nothing contradicts it.
                return
            self._contradiction()
        if run.stage == stage:
            self._goes_on()
            self._back_again()
        elif run.stage == "restart-aps" and stage == "validate":
            self._restarts_may_be_over()
        elif run.stage == "validate" and stage == "restart-aps":
            self._restarts_again()
        else:
            if run.stage == "restart-aps" and self.old.aps.full_seen is not None and is_later(stage, "validate"):
                until = self.old.latest.moment if self.old.latest is not None else self._now()
                self._change("validate", self.old.aps.full_after, self.old.aps.full_seen, until)
                self._goes_on(self.old.latest.moment if self.old.latest is not None else None)
            self._change(stage, self.state.run.last if self.state.run is not None else None, self._now())

    def _goes_on(self, moment: datetime | None = None) -> None:
        *earlier, run = self.state.runs
        self.state = replace(self.state, runs=(*earlier, replace(run, last=moment or self._now())))

    def _restarts_may_be_over(self) -> None:
        back, rounds = self.state.aps, self.state.course.rounds
        lasted = (self._now() - back.full_seen).total_seconds() if back.full_seen is not None else 0.0
        quiet = max(_FULL_SECONDS, (self.state.course.round_p90_seconds or 0.0) / 2)
        over = (rounds is not None and back.dips >= rounds) or (back.full_polls >= _FULL_POLLS and lasted >= quiet)
        if over and back.full_seen is not None:
            self._change("validate", back.full_after, back.full_seen)
            self._goes_on()

    def _restarts_again(self) -> None:
        """Another round after all: what was taken for validation was the wait before it."""
        *earlier, restarts, _ = self.state.runs if len(self.state.runs) > 1 else (None, *self.state.runs)
        if restarts is None or restarts.stage != "restart-aps":
            self._change("restart-aps", self.state.runs[-1].last, self._now())
            return
        kept = tuple(run for run in earlier if run is not None)
        again = replace(restarts, last=self._now(), ended=None, aborted=False)
        self.state = replace(self.state, runs=(*kept, again))
        said = "Access points leave again: their restarts go on."
        self._say(Happening(self._now(), "stage-began", "restart-aps", said, subject="restart-aps"))

    def _change(self, stage: SeenStage, after: datetime | None, seen: datetime, until: datetime | None = None) -> None:
        """End the run that goes on and open another one, which began after one poll and not after another.

        `until`: it is over already, known in hindsight.
        """
        *earlier, run = self.state.runs
        forward = is_later(stage, run.stage)
        last = min(run.last, after) if after is not None else run.last
        ended = replace(run, last=max(last, run.seen), ended=seen, aborted=not forward, rounds=self._rounds(run))
        self.state = replace(self.state, runs=(*earlier, ended))
        if run.stage in STAGES:
            self._say(Happening(self._now(), "stage-ended", run.stage, ended_words(ended), subject=run.stage))
        self._open(stage, after, seen, self._skipped(run.stage, stage) if forward else (), until)

    def _rounds(self, run: StageRun) -> int | None:
        """How many rounds of restarts there were; None unless as many were seen as the plan has."""
        rounds = self.state.course.rounds
        return rounds if run.stage == "restart-aps" and rounds == self.state.aps.dips else None

    def _skipped(self, one: SeenStage, other: SeenStage) -> tuple[SeenStage, ...]:
        first, last = place_of(one), place_of(other)
        if first is None or last is None:
            return ()
        between = [stage for stage in STAGES if first < (place_of(stage) or 0) < last and stage not in _NOT_SEEN]
        planned = {stage.id: stage for stage in self.state.course.stages}
        return tuple(stage for stage in between if stage not in planned or not planned[stage].skipped)

    def _open(
        self,
        stage: SeenStage,
        after: datetime | None,
        seen: datetime,
        skips: tuple[SeenStage, ...] = (),
        until: datetime | None = None,
    ) -> None:
        planned = self.state.course.stage(stage)
        run = StageRun(
            stage,
            after,
            seen,
            seen,
            p50_seconds=planned.p50_seconds if planned is not None else None,
            p90_seconds=planned.p90_seconds if planned is not None else None,
            skips=skips,
        )
        self.state = replace(self.state, runs=(*self.state.runs, run))
        self._announce(run, until)

    def _announce(self, run: StageRun, until: datetime | None) -> None:
        moment, statement = self._now(), self.sighting.statement
        if until is not None:
            # The poll shows the stage after it: its sentence says nothing of this one.
            statement = f"it ran from {clock(run.seen)} to {clock(until)}, as is known only now."
        if run.stage == "done":
            self.state = replace(self.state, done=moment)
        elif run.stage == "rolled-back":
            self._gone_back()
        elif run.stage != "before":
            missed = f" No poll saw {' or '.join(title(each).lower() for each in run.skips)}." if run.skips else ""
            expected = ""
            if run.p50_seconds is not None and run.p90_seconds is not None:
                expected = f" By the plan: {by_plan(run.p50_seconds, run.p90_seconds)}."
            said = f"{title(run.stage)}: {statement}{expected}{missed}"
            self._say(Happening(moment, "stage-began", run.stage, said, subject=run.stage))

    def _done(self) -> None:
        """The controllers' side is done; what is still wrong all the same stands in the same sentence."""
        up, statement = self.state.up, self.sighting.statement
        if not up:
            said = f"Done, and both members prove it. {statement}"
            self._say(Happening(self._now(), "done", "done", said))
            return
        failed = any(each.severity == "failure" for each in up)
        wrong = " ".join(each.statement for each in up)
        said = f"Both members prove that they are done, but not all is well: {wrong} {statement}"
        remedy = "Don't close the window before that is mended or accepted by those who decide: `readypair compare`."
        self._say(Happening(self._now(), "done", "done", said, remedy, "failure" if failed else "warning"))

    def _gone_back(self) -> None:
        moment, fires = self._now(), self.state.timer_fires
        # The timer's seconds and the poll's moment are not of one clock: a minute decides nothing.
        fired = fires is not None and moment >= fires - timedelta(seconds=60)
        remedy = (
            "Wait until both members are back on the old release and the standby is hot, then run `readypair compare`. "
            "Find out why before the next window; where lives depend on the network, tell the people who run the ward."
        )
        if fired and fires is not None:
            said = f"The auto-abort timer ran out at {clock(fires)}, and the pair rolls back. {self.sighting.statement}"
            self._say(Happening(moment, "failed", "rolled-back", said, remedy, "failure", "auto-abort"))
            self._fail("auto-abort")
        else:
            said = f"The upgrade is being undone. {self.sighting.statement}"
            self._say(Happening(moment, "rolled-back", "rolled-back", said, remedy, "failure", "undone"))
            self._fail("undone")
        # What was wrong with the new release is told no more: the pair leaves it.
        self.state = replace(self.state, warned=())

    def _back_again(self) -> None:
        """Once the way back has been gone: both members on another release than the target, and a hot standby."""
        members, key = self.sighting.members, "rolled-back"
        over = all(member.answered and member.on_target is False for member in members)
        hot = any(is_hot(member) for member in members) and self.sighting.operating is False
        if self.sighting.stage == "rolled-back" and over and hot and key not in self.state.said:
            self.state = replace(self.state, said=(*self.state.said, key))
            said = f"The way back is over. {self.sighting.statement}"
            remedy = "Compare the pair with its baseline before you close the window: `readypair compare`."
            self._say(Happening(self._now(), "rolled-back", "rolled-back", said, remedy))

    def _fail(self, id: WarningId) -> None:
        self.state = replace(self.state, failures=tuple(dict.fromkeys((*self.state.failures, id))))
        if self.state.run is not None and self.state.run.stage in STAGES:
            *earlier, run = self.state.runs
            self.state = replace(self.state, runs=(*earlier, replace(run, failed=True)))

    def _contradiction(self) -> None:
        if self.state.done is None or not self.sighting.against:
            return
        said = f"No longer done: {'; '.join(self.sighting.against)}. It had been proved at {clock(self.state.done)}."
        remedy = "Look at both controllers before you close the window, and run `readypair check` for the pair."
        self.state = replace(self.state, done=None)
        self._say(Happening(self._now(), "not-done", self.sighting.stage, said, remedy, "failure"))

    # Warnings.

    def _warnings(self) -> None:
        found = reasons(self.state, self.sighting)
        given = {(each.id, each.subject): each for each in found.given}
        kept: list[Warned] = []
        for warned in self.state.warned:
            reason = given.pop(warned.key, None)
            if reason is not None:
                kept.append(self._still(warned, reason))
            elif warned.id in found.open and not self._over(warned):
                kept.append(warned)
            elif warned.polls_good + 1 < _GOOD_POLLS and not self._over(warned):
                kept.append(replace(warned, polls_good=warned.polls_good + 1))
            else:
                self._say(
                    Happening(
                        self._now(),
                        "cleared",
                        self._stage_now(),
                        f"Over: {warned.statement}",
                        id=warned.id,
                        subject=warned.subject,
                    )
                )
        for reason in given.values():
            raised = self._raise(reason)
            kept += [raised] if raised is not None else []
        self.state = replace(self.state, warned=tuple(kept))

    def _over(self, warned: Warned) -> bool:
        """Whether a warning about a stage is over because that stage is."""
        return warned.id in ("overdue", "standby-never-hot") and warned.subject != self._stage_now()

    def _still(self, warned: Warned, reason: Reason) -> Warned:
        if warned.severity == "warning" and reason.severity == "failure":
            self._tell(reason)
            return replace(warned, statement=reason.statement, severity="failure", polls_good=0)
        if self.sighting.stage == "done":
            # What is still wrong at the end is told as it is then.
            return replace(warned, statement=reason.statement, polls_good=0)
        return replace(warned, polls_good=0)

    def _raise(self, reason: Reason) -> Warned | None:
        """Raise a warning; None for an event, which is told once and is never over."""
        key = f"{reason.id}:{reason.subject}"
        if reason.lasts:
            if key not in self.state.said:
                self.state = replace(self.state, said=(*self.state.said, key))
                self._tell(reason)
            return None
        self._tell(reason)
        return Warned(reason.id, reason.subject, self._now(), reason.statement, reason.severity)

    def _tell(self, reason: Reason) -> None:
        if reason.severity == "failure":
            self._fail(reason.id)
        self._say(
            Happening(
                self._now(),
                "failed" if reason.severity == "failure" else "warning",
                self._stage_now(),
                reason.statement,
                reason.remedy,
                reason.severity,
                reason.id,
                reason.subject,
            )
        )

    # The way back.

    def _turning_back(self) -> None:
        run = self.state.run
        planned = self.state.course.stage(run.stage) if run is not None else None
        if run is None or planned is None or planned.last_moment is None or self._another_night():
            return
        last, left = planned.last_moment, planned.last_moment - self._now()
        if left < timedelta(0):
            self._once(
                f"turn-back-passed:{run.stage}",
                f"{clock(last)} has passed, the last moment at which turning back from this stage still ends inside "
                f"the window ({title(run.stage).lower()}).",
                "Turning back now takes longer than the window: decide with the people of the change process and, "
                "where lives depend on the network, with the people who run the ward.",
            )
        elif left <= _NEAR:
            self._once(
                f"turn-back-near:{run.stage}",
                f"The last moment to turn back from this stage is {clock(last)}, in {spoken(left.total_seconds())} "
                f"({title(run.stage).lower()}). {planned.back}".rstrip(),
                "Decide before then whether to go on.",
            )

    def _another_night(self) -> bool:
        return bool(another_night(self.state.course, self.sighting.recall.since))

    def _once(self, key: str, statement: str, remedy: str) -> None:
        if key in self.state.said:
            return
        self.state = replace(self.state, said=(*self.state.said, key))
        stage = self._stage_now()
        passed = key.startswith("turn-back-passed")
        self._say(
            Happening(
                self._now(),
                "turn-back",
                stage,
                statement,
                remedy,
                "warning",
                "turn-back-passed" if passed else "turn-back-near",
                stage,
            )
        )


def ended_words(run: StageRun) -> str:
    """How long a run took, between its bounds, against the plan."""
    plan = ""
    if run.p50_seconds is not None and run.p90_seconds is not None:
        plan = f"; by the plan {by_plan(run.p50_seconds, run.p90_seconds)}"
    if run.longest is None or run.shortest is None:
        return f"{title(run.stage)} has ended{plan}; the watch didn't see it begin."
    return f"{title(run.stage)} took {bounds(run.shortest, run.longest)}{plan}."


def replay(state: WatchState, sightings: Sequence[Sighting]) -> tuple[WatchState, tuple[Happening, ...]]:
    """Fold sightings one after the other, as a watch does that is begun again."""
    told: list[Happening] = []
    for sighting in sightings:
        state, happened = follow(state, sighting)
        told += happened
    return state, tuple(told)
