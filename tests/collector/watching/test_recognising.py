"""What a poll of a played upgrade is recognised as, and that nothing lost ever makes it done."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.capture import Capture, Ending
from collector.played_upgrade import FAILURES, Act, Failure, Play
from collector.snapshot import Snapshot
from collector.watching.hearing import is_of
from collector.watching.recognising import sight
from collector.watching.sighting import SeenStage
from parsers.release import Release
from tests.collector.watching.polls import TARGET, WATCHED, missing, nobody, play, polled, snapshot

GOOD = play()
MEMBERS = ("quay-a", "quay-b")
NEEDED = (
    "show version",
    "show redundancy",
    "show install summary",
    "show issu state detail",
    "show redundancy config-sync failures mcl",
)
"""What each member has to say itself before anything is done."""

AS_ACTS: dict[Act, SeenStage] = {
    "before": "before",
    "expand": "expand",
    "reload-standby": "reload-standby",
    "synchronise": "synchronise",
    "switch-over": "switch-over",
    "reload-other": "reload-other",
    "restart-aps": "restart-aps",
    "validate": "validate",
    "commit": "commit",
    "after": "done",
}


@pytest.mark.parametrize("older_train", [False, True])
def test_each_act_is_recognised_from_the_acts_before(older_train: bool) -> None:
    of = play(older_train=older_train)
    seen = None
    for number, (act, stage) in enumerate(AS_ACTS.items(), 1):
        seen = sight(number, snapshot(of, of.moment(act, 0.15)), TARGET, seen)
        assert seen.stage == stage, seen.statement


@pytest.mark.parametrize("act", AS_ACTS)
def test_each_act_is_recognised_by_a_watch_that_begins_in_it(act: Act) -> None:
    seen = sight(1, snapshot(GOOD, GOOD.moment(act, 0.4)), TARGET, None)
    # Whether the restarts are over, nobody can say who didn't see them begin.
    assert seen.stage == ("restart-aps" if act == "validate" else AS_ACTS[act])


def test_a_hot_standby_on_the_target_still_counts_to_the_synchronisation() -> None:
    seen = sight(1, snapshot(GOOD, GOOD.moment("synchronise", 0.9)), TARGET, None)
    assert seen.stage == "synchronise"
    assert seen.statement == "quay-b is the hot standby on 17.12.4: it can be switched over to."


def test_a_poll_tells_what_it_saw() -> None:
    seen = sight(1, snapshot(GOOD, GOOD.moment("restart-aps", 0.1)), TARGET, None)
    assert (seen.aps, seen.timer, seen.mismatches, seen.operating) == (16, "active", 0, True)
    assert seen.ap_names is not None
    assert len(seen.ap_names) == 16
    assert seen.timer_seconds is not None
    assert [(m.role, m.release, m.target) for m in seen.members] == [
        ("standby", "17.12.4", ("U",)),
        ("active", "17.12.4", ("U",)),
    ]
    assert {each.member for each in seen.evidence} == set(MEMBERS)


def test_a_poll_that_nobody_answers_tells_nothing() -> None:
    before = sight(1, snapshot(GOOD, GOOD.moment("validate")), TARGET, None)
    seen = sight(2, nobody(3700), TARGET, before)
    assert (seen.stage, seen.aps, seen.clients, seen.timer, seen.mismatches) == ("unclear", None, None, None, None)
    assert seen.statement == "Neither quay-a nor quay-b answers."
    assert seen.members[0].why_not == "the connection was refused"
    assert seen.recall.stage == before.recall.stage


@pytest.mark.parametrize("failure", FAILURES)
def test_no_failure_is_ever_done(failure: Failure) -> None:
    _, seen = polled(60, failure)
    assert "done" not in {each.stage for each in seen}
    assert seen[-1].stage == "rolled-back"


def test_it_is_done_when_both_prove_it_and_says_what_was_open_before() -> None:
    half = sight(1, snapshot(GOOD, GOOD.moment("commit", 0.2)), TARGET, None)
    assert half.stage == "commit"
    assert "17.12.4 is U, not C on quay-a" in half.against
    done = sight(2, snapshot(GOOD, GOOD.moment("after")), TARGET, half)
    assert (done.stage, done.against, done.open) == ("done", (), ())


@pytest.mark.parametrize("member", MEMBERS)
@pytest.mark.parametrize("command", NEEDED)
def test_nothing_is_done_while_one_answer_is_lost(member: str, command: str) -> None:
    def lose(capture: Capture) -> Capture:
        return missing(member, command) if (capture.member, capture.command) == (member, command) else capture

    seen = sight(1, snapshot(GOOD, GOOD.moment("after"), damage=lose), TARGET, None)
    assert seen.stage != "done"
    assert seen.open


@pytest.mark.parametrize("away", MEMBERS)
def test_nothing_is_done_while_one_member_does_not_answer(away: str) -> None:
    whole = snapshot(GOOD, GOOD.moment("after"))
    lost = snapshot(
        GOOD, GOOD.moment("after"), damage=lambda c: missing(c.member, c.command) if c.member == away else c
    )
    seen = sight(2, lost, TARGET, sight(1, whole, TARGET, None))
    assert seen.stage != "done"
    assert f"{away} gave no answer" in seen.open


@pytest.mark.parametrize("command", WATCHED)
def test_one_member_that_still_tells_of_before_the_commit_is_enough(command: str) -> None:
    """Of one command both members' answers are those of before the commit; where it says so, it isn't done."""
    early = snapshot(GOOD, GOOD.moment("commit", 0.2))
    told = {(each.name, command): each.captures[command] for each in early.members}
    seen = sight(
        1, snapshot(GOOD, GOOD.moment("after"), damage=lambda c: told.get((c.member, c.command), c)), TARGET, None
    )
    assert (seen.stage == "done") is (command not in ("show install summary", "show issu state detail"))


PLAYS: dict[Failure | None, Play] = {None: GOOD, **{failure: play(failure) for failure in FAILURES}}
WHERE = st.tuples(st.sampled_from(MEMBERS), st.sampled_from(WATCHED))


@given(
    st.sampled_from(list(PLAYS)),
    st.floats(0, 1),
    st.dictionaries(WHERE, st.sampled_from(["missing", "cut", "lines"]), max_size=8),
    st.randoms(use_true_random=False),
)
@settings(max_examples=100, deadline=None)
def test_no_damage_makes_done_what_is_not(
    failure: Failure | None, share: float, damaged: dict[tuple[str, str], str], random: Random
) -> None:
    of = PLAYS[failure]
    last = GOOD.acts["commit"] + 59 if failure is None else of.cues[-1]

    def damage(capture: Capture) -> Capture:
        how = damaged.get((capture.member, capture.command))
        if how == "missing":
            return missing(capture.member, capture.command)
        if how == "cut":
            cut = capture.text[: random.randrange(len(capture.text) + 1)]
            return replace(capture, text=cut, ending=Ending.CUT_OFF, reason="the session ended")
        if how == "lines":
            kept = [line for line in capture.text.splitlines(True) if random.random() < 0.8]
            return replace(capture, text="".join(kept))
        return capture

    before = sight(1, snapshot(of, share * last / 2), TARGET, None)
    assert sight(2, snapshot(of, share * last, damage=damage), TARGET, before).stage != "done"


def test_another_target_than_the_one_that_runs_is_not_done() -> None:
    assert sight(1, snapshot(GOOD, GOOD.moment("after")), "17.12.5", None).stage == "before"


def test_going_back_is_told_from_never_having_begun() -> None:
    of, seen = polled(60, "standby-never-hot")
    stages = list(dict.fromkeys(each.stage for each in seen))
    assert stages == ["before", "expand", "reload-standby", "synchronise", "rolled-back"]
    late = sight(1, snapshot(of, of.cues[-1] + 60), TARGET, None)
    assert late.stage == "rolled-back"


def test_marks_show_what_failed() -> None:
    _, seen = polled(60, "active-crashes")
    marks = {mark.kind: mark.statement for each in seen for mark in each.marks}
    assert marks["active-lost"] == "quay-a took over from quay-b (active unit failed)"
    assert marks["crashed"] == "quay-b came back from a crash (Critical process fault)"
    assert not [mark for each in polled(60)[1] for mark in each.marks if mark.kind != "standby-cold"]


def test_both_active_is_no_stage() -> None:
    first, second = (snapshot(GOOD, moment).members for moment in (GOOD.moment("before"), GOOD.moment("validate")))
    both = Snapshot(snapshot(GOOD, 0).pair, (first[0], second[1]), snapshot(GOOD, 0).moment)
    seen = sight(1, both, TARGET, None)
    assert (seen.stage, [mark.kind for mark in seen.marks][:1]) == ("unclear", ["both-active"])


@pytest.mark.parametrize(
    ("name", "is_target"),
    [
        ("17.12.04.0.4321", True),
        ("bootflash:wx-universal.17.12.04.bin", True),
        ("17.12.04a.0.4", False),
        ("17.09.04a.0.6", False),
        ("1.17.12.04", False),
        ("", False),
    ],
)
def test_packages_are_known_by_their_release(name: str, is_target: bool) -> None:
    assert is_of(name, Release.parse(TARGET)) is is_target


def test_a_running_timer_and_an_unknown_commit_speak_against_done() -> None:
    validating = sight(1, snapshot(GOOD, GOOD.moment("validate", 0.4)), TARGET, None)
    assert "the auto-abort timer is running" in validating.against

    def unsaid(capture: Capture) -> Capture:
        return missing(capture.member, capture.command) if capture.command == "show install summary" else capture

    untold = sight(1, snapshot(GOOD, GOOD.moment("after", 0.5), damage=unsaid), TARGET, None)
    assert {f"what is committed on {member} isn't known" for member in MEMBERS} <= set(untold.open)
