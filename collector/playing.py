"""Simulated controllers that play an in-service upgrade of one pair, over SSH on loopback.

`python -m collector.playing PAIR` plays it for a pair of an inventory (the demo's, unless another one is named) until
it is interrupted, and says on standard error which stage it comes to; it is the way to see by hand what a member prints
halfway. Nobody's command drives the play: its clock does. In tests that clock stands still (a speed of 0) and is set.
"""

from __future__ import annotations

import argparse
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from collector import demo, recording, simulated
from collector.capture import Capture, Ending
from collector.played_answers import answer
from collector.played_recording import PlayError, Recorded
from collector.played_upgrade import CRASH_STAGES, FAILURES, Act, Controller, Pace, Play, Scene, Upgrade
from collector.simulated_shell import Drop
from parsers import catalogue

if TYPE_CHECKING:
    from inventory.opening import Fleet
    from inventory.pairs import Pair
    from inventory.policy import Policy

__all__ = ["PlayError", "Playing", "play", "play_pair"]

_PLACES = (0, 1)
_LOOK = 0.05
"""How often (in real seconds) it is looked whether the play has come to another stage."""


class _Clock:
    """The play's own clock; `speed` as in Pace. Read by many threads, so it is one value that is put anew."""

    def __init__(self, speed: float, elapsed: float) -> None:
        self._speed = speed
        self._set = (time.monotonic(), elapsed)

    @property
    def elapsed(self) -> float:
        since, elapsed = self._set
        return elapsed + (time.monotonic() - since) * self._speed

    def put(self, elapsed: float) -> None:
        self._set = (time.monotonic(), elapsed)

    def stop(self) -> None:
        self._set, self._speed = (time.monotonic(), self.elapsed), 0.0

    def wait_for(self, moment: float | None) -> float | None:
        """How many real seconds it is until a moment; None where it is never."""
        if moment is None or self._speed == 0:
            return None
        return max(moment - self.elapsed, 0.0) / self._speed


@dataclass(frozen=True)
class _Member:
    """What one member answers, by the play's clock."""

    recorded: Recorded
    play: Play
    clock: _Clock
    place: int

    def capture(self, command: str) -> Capture | None:
        """The answer of the moment; Drop where the member is down at this moment."""
        scene = self.play.scene(self.clock.elapsed)
        if scene.members[self.place].away:
            raise Drop
        text = answer(self.recorded, self.play.upgrade, scene, self.place, command)
        return None if text is None else Capture(self.recorded.names[self.place], command, text)

    @property
    def standby(self) -> bool:
        """Whether it isn't the active one at this moment."""
        return not self.play.scene(self.clock.elapsed).members[self.place].active


class Playing:
    """A play that is running; made by `play`. Its moments are seconds of the play, from its beginning."""

    def __init__(
        self, fleet: simulated.Fleet, play: Play, recorded: Recorded, clock: _Clock, *, silent: bool = False
    ) -> None:
        self.fleet = fleet
        self.play = play
        self.names = recorded.names
        """The members: who is active when the play begins, and the standby of then."""
        self._begins = recorded.begins
        self._clock = clock
        self._silent = silent
        self._shown = play.scene(0.0)
        self._over = False
        self._turn = threading.Condition()
        self._show()
        self._thread = threading.Thread(target=self._go_on, name="played upgrade", daemon=True)
        self._thread.start()

    @property
    def elapsed(self) -> float:
        """The moment that it is."""
        return self._clock.elapsed

    @property
    def scene(self) -> Scene:
        """The state of the pair at this moment."""
        return self.play.scene(self.elapsed)

    @property
    def act(self) -> Act:
        """Where the play is at this moment: the stage, or what comes before, after or instead."""
        return self.scene.act

    def members(self) -> dict[str, Controller]:
        """The two members at this moment, by their names."""
        return dict(zip(self.names, self.scene.members, strict=True))

    def now(self) -> datetime:
        """What time it is in the play, with its offset: what the members' clocks show, where they are right."""
        return self.time_of(self.elapsed)

    def time_of(self, moment: float) -> datetime:
        """What time it is in the play at a moment."""
        return self._begins + timedelta(seconds=moment)

    def set_elapsed(self, moment: float) -> None:
        """Go to a moment, later or earlier; returns when the members are as they are then.

        Who was down in between has lost its sessions.
        """
        with self._turn:
            self._clock.put(moment)
            self._show()
            self._turn.notify_all()

    def go_to(self, act: Act, share: float = 0.5) -> None:
        """Go to where so much of an act is over (0 to 1); KeyError where the play doesn't have it."""
        self.set_elapsed(self.play.moment(act, share))

    def stop(self) -> None:
        """Stop the play's clock for good; the members stay as they are."""
        with self._turn:
            self._clock.stop()
            self._over = True
            self._turn.notify_all()
        self._thread.join()

    def _go_on(self) -> None:
        with self._turn:
            while not self._over:
                self._show()
                # From the scene that is shown, not from the clock: a cue in between must not be missed.
                self._turn.wait(self._clock.wait_for(self.play.next_cue(self._shown.elapsed)))

    def _show(self) -> None:
        """Let members leave, come back and lose their sessions, as they do between what is shown and what is now."""
        scene = self.scene
        for place, name in enumerate(self.names):
            before, now = self._shown.members[place], scene.members[place]
            if now.away and not before.away:
                self.fleet.leave(name, silent=self._silent)
            elif before.away and not now.away:
                self.fleet.come_back(name)
            elif before.drops != now.drops and not now.away:
                self.fleet.drop_sessions(name)
        self._shown = scene


@contextmanager
def play(
    recordings: Mapping[str, Path],
    upgrade: Upgrade,
    *,
    credentials: simulated.Credentials | None = None,
    behaviours: Mapping[str, simulated.Behaviour] | None = None,
    port_base: int = 0,
    log_file: Path | None = None,
    recorded_at: datetime = demo.EVENING,
    begins: datetime | None = None,
    silent: bool = False,
) -> Iterator[Playing]:
    """Play an upgrade of two members until the block ends; each one's folder holds its recorded captures.

    `recorded_at` is when the members' clocks showed what was recorded, `begins` when the play begins (default: at that
    time). A member that is down refuses connections, or takes them and says nothing (`silent`). Raises PlayError where
    the recordings are of no pair that can be upgraded, RecordingError where they can't be read, OSError where a port is
    taken.
    """
    texts = {name: _texts(folder) for name, folder in recordings.items()}
    recorded = Recorded.of(texts, recorded_at, begins or recorded_at)
    made, clock = Play(upgrade), _Clock(upgrade.pace.speed, 0.0)
    answers = {recorded.names[place]: _Member(recorded, made, clock, place) for place in _PLACES}
    with (
        simulated.fleet(recordings, behaviours, credentials, port_base, log_file, answers) as fleet,
        ExitStack() as stack,
    ):
        clock.put(0.0)
        playing = Playing(fleet, made, recorded, clock, silent=silent)
        stack.callback(playing.stop)
        yield playing


def _texts(folder: Path) -> dict[str, str]:
    """A member's whole recorded answers, by the commands' texts."""
    recorded = recording.open_member(folder, folder.name)
    captures = (recorded.capture(command) for command in catalogue.COMMANDS)
    return {capture.command: capture.text for capture in captures if capture.ending is Ending.COMPLETE}


def upgrade_of(pair: Pair, pace: Pace) -> Upgrade:
    """The upgrade that the inventory plans for a pair; PlayError where it doesn't state the image."""
    if pair.image is None:
        raise PlayError(f"{pair.name}: the inventory states no image, which a play needs")
    return Upgrade(pair.target_release, pair.image.bytes, pace)


@contextmanager
def play_pair(
    fleet: Fleet,
    pair: Pair,
    upgrade: Upgrade,
    *,
    recordings: Path | None = None,
    begins: datetime | None = None,
    silent: bool = False,
) -> Iterator[Playing]:
    """Play an upgrade of a pair of an inventory, lead Nornir's hosts to it and give them what lets them in.

    `recordings` is the folder of the members' captures (default: the demo's). Whoever asks by `job.gather` over `ssh`
    in the block asks the played controllers. Raises as `play` does.
    """
    folder = recording.find(recordings or demo.fixtures_folder())
    own = {member.name: folder / member.name for member in pair.members}
    with (
        tempfile.TemporaryDirectory(prefix="readypair-play-") as temporary,
        play(own, upgrade, begins=begins, silent=silent) as playing,
        demo.led(fleet, playing.fleet.ports, simulated.ADDRESS),
    ):
        known_hosts = Path(temporary) / "known_hosts"
        known_hosts.write_text(playing.fleet.known_hosts_text(), encoding="ascii")
        running = playing.fleet
        demo.prepare(
            fleet, [pair], demo.Controllers(simulated.ADDRESS, running.ports, running.credentials, known_hosts)
        )
        yield playing


def main(arguments: list[str] | None = None) -> int:
    """Play an upgrade of a pair until interrupted; prints where each member listens, and each stage as it comes."""
    from inventory.problems import InventoryError

    options = _parser().parse_args(arguments)
    over = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: over.set())
    try:
        _play_until(over, options)
    except (InventoryError, ValueError, OSError) as error:
        print(f"playing: {error}", file=sys.stderr)
        return 2
    return 0


def _play_until(over: threading.Event, options: argparse.Namespace) -> None:
    """PlayError, RecordingError, InventoryError or OSError where it can't be played."""
    from collector import rules
    from inventory.opening import open_inventory

    fleet = open_inventory(options.inventory, rules.waivable())
    pair = next((each for each in fleet.pairs if each.name == options.pair), None)
    if pair is None:
        raise PlayError(f"{options.inventory}: there is no pair {options.pair!r}; name one of the inventory's")
    if options.write_inventory and options.write_inventory.exists():
        raise PlayError(f"--write-inventory {options.write_inventory} is there already; name a folder that isn't")
    folder = recording.find(options.recordings or demo.fixtures_folder())
    given = simulated.given_credentials()
    with play(
        {member.name: folder / member.name for member in pair.members},
        _upgrade(pair, fleet.policy, options),
        credentials=given,
        port_base=options.port_base,
        log_file=options.log,
        begins=options.begin,
        silent=options.silent,
    ) as playing:
        if options.write_inventory:
            _write_inventory(fleet, playing, options.write_inventory)
        print(simulated.hosts(playing.fleet), flush=True)
        if given is None:
            simulated.tell_credentials(playing.fleet.credentials)
        _tell_acts(playing, over)


def _upgrade(pair: Pair, policy: Policy, options: argparse.Namespace) -> Upgrade:
    pace = replace(Pace.by_policy(policy), **{"speed": options.speed, **dict(options.pace)})
    return replace(
        upgrade_of(pair, pace),
        batches=options.batches,
        failure=options.failure,
        crash_during=options.crash_during,
        older_train=options.older_train,
    )


def _write_inventory(fleet: Fleet, playing: Playing, folder: Path) -> None:
    """A copy of the inventory in which these two hosts are at their ports, beside the keys that they present."""
    import yaml

    shutil.copytree(fleet.folder, folder)
    hosts = yaml.safe_load((folder / "hosts.yaml").read_text(encoding="utf-8"))
    for name, port in playing.fleet.ports.items():
        hosts[name] |= {"hostname": simulated.ADDRESS, "port": port}
    (folder / "hosts.yaml").write_text(yaml.safe_dump(hosts, sort_keys=False), encoding="utf-8")
    (folder / "known_hosts").write_text(playing.fleet.known_hosts_text(), encoding="ascii")
    print(f"export READYPAIR_INVENTORY={folder}", file=sys.stderr)
    print(f"export READYPAIR_KNOWN_HOSTS={folder / 'known_hosts'}", file=sys.stderr, flush=True)


def _tell_acts(playing: Playing, over: threading.Event) -> None:
    """Say where the play is, whenever that changes, until it is over."""
    told: Act | None = None
    while not over.wait(_LOOK):
        act = playing.act
        if act != told:
            down = ", ".join(name for name, member in playing.members().items() if member.away)
            begun = playing.time_of(playing.play.acts[act])
            print(f"{begun:%H:%M:%S} {act}{f' ({down} down)' if down else ''}", file=sys.stderr, flush=True)
            told = act


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m collector.playing",
        description="Plays an in-service upgrade of a pair over SSH on loopback, until interrupted.",
        epilog="Lets in READYPAIR_USERNAME with READYPAIR_PASSWORD; without these, makes up credentials for this run.",
    )
    parser.add_argument("pair", metavar="PAIR", help="a pair of the inventory")
    parser.add_argument(
        "--inventory", type=Path, default=demo.inventory_folder(), metavar="DIR", help="default: demo's"
    )
    parser.add_argument("--recordings", type=Path, metavar="DIR", help="DIR/<member>/<slug>.txt (default: the demo's)")
    parser.add_argument(
        "--speed",
        type=float,
        default=60.0,
        metavar="N",
        help="seconds of the play a second (default: 60); its clock and its timer agree with this machine's only at 1",
    )
    parser.add_argument(
        "--pace",
        type=_stage_and_seconds,
        action="append",
        default=[],
        metavar="STAGE=SECONDS",
        help="how long a stage takes, a batch for restart-aps; also before and auto-abort (default: the policy's)",
    )
    parser.add_argument("--batches", type=int, default=4, metavar="N", help="batches of access points (default: 4)")
    parser.add_argument("--failure", choices=FAILURES, help="what goes wrong (default: nothing)")
    parser.add_argument("--crash-during", choices=CRASH_STAGES, default="restart-aps", help="when active-crashes does")
    parser.add_argument("--older-train", action="store_true", help="tell of the upgrade as older trains do")
    parser.add_argument("--silent", action="store_true", help="who is down takes connections and says nothing")
    parser.add_argument(
        "--begin", type=_moment, metavar="TIME", help="when it begins, ISO 8601, or now (default: 2027)"
    )
    parser.add_argument(
        "--write-inventory", type=Path, metavar="DIR", help="write an inventory that leads to the members"
    )
    parser.add_argument(
        "--port-base", type=int, default=0, metavar="N", help="ports from N on (default: any free ones)"
    )
    parser.add_argument("--log", type=Path, metavar="FILE", help="append every line received, as JSON")
    return parser


def _stage_and_seconds(text: str) -> tuple[str, float]:
    name, _, seconds = text.partition("=")
    field = name.replace("-", "_")
    if field not in {each.name for each in fields(Pace)} - {"speed"}:
        raise argparse.ArgumentTypeError(f"{name!r} is no stage that the play has")
    try:
        return field, float(seconds)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} isn't STAGE=SECONDS") from None


def _moment(text: str) -> datetime:
    if text == "now":
        return datetime.now().astimezone()
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no time in ISO 8601, such as 2027-02-06T23:00+01:00") from None


if __name__ == "__main__":
    sys.exit(main())
