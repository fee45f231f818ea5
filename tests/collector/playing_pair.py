"""What the tests of a played upgrade share: the demo's recordings of a pair, and what a moment of its play comes to."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import cache

from collector import recording
from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.played_answers import answer
from collector.played_recording import Recorded
from collector.played_upgrade import Play
from parsers import Facts, Refused, Unreadable, catalogue, read
from tests.demo_fleet import FIXTURES, fleet

BEGINS = datetime.fromisoformat("2027-02-06T23:00:00+01:00")
"""When the plays of these tests begin: at the start of quay's window, 25 hours after it was recorded."""

IMAGE_BYTES = 1_250_000_000


@cache
def recorded(pair: str) -> Recorded:
    """A pair of the demo, as recorded."""
    found = next(each for each in fleet().pairs if each.name == pair)
    texts = {member.name: _texts(member.name) for member in found.members}
    return Recorded.of(texts, EVENING, BEGINS)


def _texts(member: str) -> Mapping[str, str]:
    own = recording.open_member(FIXTURES / member, member)
    captures = (own.capture(command) for command in catalogue.COMMANDS)
    return {capture.command: capture.text for capture in captures if capture.ending is Ending.COMPLETE}


def text(play: Play, moment: float, member: str, command: str, pair: str = "quay") -> str:
    """What a member prints at a moment; AssertionError where it is down or prints nothing."""
    of = recorded(pair)
    scene, place = play.scene(moment), of.names.index(member)
    assert not scene.members[place].away, f"{member} is down"
    said = answer(of, play.upgrade, scene, place, command)
    assert said is not None, command
    return said


@cache
def understood(command: str, said: str) -> Facts | str:
    """The facts of an answer; why there are none, with `refused: ` in front of a refusal."""
    try:
        return read(command, said)
    except Refused as error:
        return f"refused: {error}"
    except Unreadable as error:
        return str(error)


def answering(play: Play, moment: float, pair: str = "quay") -> list[str]:
    """The members that aren't down at a moment."""
    members = zip(recorded(pair).names, play.scene(moment).members, strict=True)
    return [name for name, member in members if not member.away]


def captures(play: Play, moment: float, pair: str = "quay") -> dict[str, list[Capture]]:
    """What a sweep at this moment of the play would take, dated by the play."""
    started = BEGINS + timedelta(seconds=moment)
    asked = [command.text for command in catalogue.asked()]
    return {
        name: [
            Capture(name, command, text(play, moment, name, command, pair), started=started, seconds=0.2)
            for command in asked
        ]
        for name in answering(play, moment, pair)
    }
