"""The whole watch over real SSH: what it is shown is what the members say, and it ends where it should."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from collector.played_upgrade import Failure
from collector.watching import stage_log
from collector.watching.sighting import Happening
from collector.watching.watch import Outcome, Stop, concluded
from tests.collector.watching.polls import every, play, raised, sightings, start, watched
from tests.collector.watching.ssh_play import B, Seen, follow, played

SECONDS = 120.0
NAMED: dict[Failure, str] = {
    "standby-never-hot": "standby-never-hot",
    "config-mismatch": "config-mismatch",
    "aps-missing": "aps-missing",
    "auto-abort": "auto-abort",
    "active-crashes": "active-crashed",
}


def told(happenings: Sequence[Happening]) -> list[tuple[object, ...]]:
    return [(each.moment, each.kind, each.stage, each.id, each.subject) for each in happenings]


def test_a_good_upgrade_is_followed_to_its_proof() -> None:
    with played() as of:
        seen = Seen()
        state, outcome = follow(of, start(), seen, seconds=60)
    assert outcome is Outcome.DONE
    assert [row.stage for row in stage_log.rows(state)] == [
        "expand",
        "reload-standby",
        "synchronise",
        "switch-over",
        "reload-other",
        "restart-aps",
        "validate",
        "commit",
    ]
    assert state.failures == ()
    assert [each.kind for each in seen.happenings].count("done") == 1
    assert seen.shown == list(range(1, state.polls + 1))
    # Never before both members prove it: the poll before this one says what still speaks against it.
    assert seen.sightings[-2].against or seen.sightings[-2].open


@pytest.mark.parametrize("failure", NAMED)
def test_a_failure_is_named_over_the_wire_in_the_very_poll_in_which_it_can_be(failure: Failure) -> None:
    """test_following holds those polls to two after the failure; here the transport must not cost one."""
    of_play = play(failure)
    with played(failure) as of:
        seen = Seen()
        state, outcome = follow(of, start(), seen, seconds=SECONDS, until=of_play.cues[-1] + 600)
    expected, happened = watched(sightings(of_play, every(SECONDS, of_play))[: state.polls])
    assert told(seen.happenings) == told(happened)
    assert NAMED[failure] in [id for _, id, _ in raised(seen.happenings)]
    assert outcome is not Outcome.DONE
    assert state.done is None
    assert state.runs == expected.runs


def test_a_rolled_back_pair_ends_the_watch_once_it_is_whole_again() -> None:
    with played("auto-abort") as of:
        of.playing.set_elapsed(of.playing.play.acts["validate"])
        seen = Seen()
        state, outcome = follow(of, start(), seen, seconds=SECONDS)
    assert outcome is Outcome.ROLLED_BACK
    assert [member.on_target for member in seen.sightings[-1].members] == [False, False]
    assert [concluded(state)] == [Outcome.ROLLED_BACK]


def test_a_member_that_is_away_for_many_polls_is_told_once_and_its_return_too() -> None:
    with played() as of:
        of.playing.set_elapsed(of.playing.play.acts["reload-standby"] + 1)
        seen = Seen()
        end = of.playing.play.acts["synchronise"] + 60
        _, outcome = follow(of, start(), seen, seconds=30, until=end)
    assert outcome is Outcome.TIME
    away = [sighting.member(B).answered for sighting in seen.sightings]
    assert away.count(False) > 15
    lost = [each.kind for each in seen.happenings if each.kind in ("member-lost", "member-back") and each.subject == B]
    assert lost == ["member-lost", "member-back"]


def test_a_watch_that_is_ended_throws_the_poll_under_way_away() -> None:
    with played() as of:
        seen = Seen()
        stop = Stop(of.poller)

        def paused() -> None:
            if len(seen.sightings) == 2:
                stop.stop()

        state, outcome = follow(of, start(), seen, seconds=30, stop=stop, paused=paused)
    assert outcome is Outcome.INTERRUPTED
    assert state.polls == len(seen.sightings) == 2
