"""`readypair watch` as a process of its own, against a played upgrade whose clock is set."""

from __future__ import annotations

import json
import os
import pty
import select
import signal
import subprocess
import sys
import termios
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pyte
import pytest

from collector import cli, playing
from collector.store.store import opened
from collector.watching import keeping
from collector.watching.sighting import WatchState
from collector.watching.watch import Outcome
from tests.collector.playing_pair import BEGINS
from tests.collector.watching.polls import polled, start, watched
from tests.collector.watching.ssh_play import A, B, Played, played
from tests.demo_fleet import FIXTURES, INVENTORY

EVERY = 0.2
# Polls follow each other sooner than a controller would be asked.
RUN = f"from collector.commands import watch; watch.LEAST_SECONDS = {EVERY}; from collector import cli; cli.run()"
COLUMNS, LINES = 80, 24
_PATIENCE = 60


@dataclass
class House:
    """A play, an inventory that leads to it, and what a process needs to follow it."""

    of: Played
    folder: Path

    @property
    def store(self) -> str:
        return str(self.folder / "watches.db")

    def environment(self) -> dict[str, str]:
        let_in = self.of.playing.fleet.credentials
        return {
            "PATH": os.environ["PATH"],
            "HOME": str(self.folder),
            "TERM": "xterm",
            "READYPAIR_INVENTORY": str(self.folder / "inventory"),
            "READYPAIR_KNOWN_HOSTS": str(self.folder / "inventory" / "known_hosts"),
            "READYPAIR_STATE": str(self.folder / "state"),
            "READYPAIR_USERNAME": let_in.username,
            "READYPAIR_PASSWORD": let_in.password,
        }

    @contextmanager
    def watch(self, *options: str, **streams: Any) -> Iterator[subprocess.Popen[str]]:
        """The command, which is killed at the end if it hasn't ended."""
        arguments = ["watch", "quay", "--store", self.store, "--every", str(EVERY), *options]
        streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "stdin": subprocess.DEVNULL, **streams}
        with subprocess.Popen(
            [sys.executable, "-c", RUN, *arguments],
            env=self.environment(),
            text=True,
            start_new_session=True,
            **streams,
        ) as process:
            try:
                yield process
            finally:
                process.kill()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with played() as of:
        playing._write_inventory(of.fleet, of.playing, tmp_path / "inventory")
        yield House(of, tmp_path)


def sightings(process: subprocess.Popen[str]) -> Iterator[dict[str, Any]]:
    assert process.stdout is not None
    for line in process.stdout:
        said = json.loads(line)
        if "sighting" in said:
            yield said["sighting"]


def until(stage: str, seen: Iterator[dict[str, Any]]) -> dict[str, Any]:
    return next(each for each in seen if each["stage"] == stage)


def ended(process: subprocess.Popen[str], status: int) -> str:
    """What it said on standard error; it ended with this status, and its last line says so."""
    assert process.stderr is not None
    said = process.stderr.read()
    assert process.wait(_PATIENCE) == status, said
    assert said.splitlines()[-1].startswith("readypair watch: quay")
    assert said.splitlines()[-1].endswith(f"; exit {status}")
    return said


def test_killed_in_the_middle_it_takes_up_where_it_was_and_follows_to_the_end(house: House) -> None:
    with house.watch("--json") as process:
        seen = sightings(process)
        until("before", seen)
        house.of.playing.go_to("reload-standby")
        until("reload-standby", seen)
        process.send_signal(signal.SIGKILL)
        process.wait(_PATIENCE)
    with opened(house.store, existing=True) as store:
        [left] = store.watches("quay")
        assert left.ended is None
    house.of.playing.go_to("synchronise")
    with house.watch("--json") as process:
        seen = sightings(process)
        first = next(seen)
        assert (first["number"], first["stage"]) == (left.polls + 1, "synchronise")
        house.of.playing.go_to("after")
        until("done", seen)
        assert "going on with the watch that began" in ended(process, 0)
    with opened(house.store, existing=True) as store:
        [whole] = store.watches("quay")
        assert (whole.id, whole.outcome) == (left.id, "done")
        kinds = [each.kind for each in store.happenings(whole.id)]
        assert kinds.count("began") == 1
        assert kinds.count("done") == 1
        # Nobody asks a pair for its plan in the middle of its window.
        assert house.of.playing.fleet.received(A).count("show ap neighbor summary") == 1


def test_a_log_is_readable_where_there_is_no_terminal(house: House) -> None:
    house.of.playing.go_to("after")
    with house.watch() as process:
        assert process.stdout is not None
        lines = process.stdout.read().splitlines()
        assert "1 polls, stage done, 0 warnings, 0 failures; ended done" in ended(process, 0)
    assert "Done, and both members prove it." in lines[-1]
    assert all("\x1b" not in line for line in lines)
    with house.watch("--anew") as process:
        ended(process, 0)


def test_an_interruption_is_orderly_and_a_second_watch_waits_for_the_first(house: House) -> None:
    with house.watch("--json") as process:
        seen = sightings(process)
        next(seen)
        with house.watch() as second:
            assert "another watch of quay is running since" in ended(second, 2)
        process.send_signal(signal.SIGTERM)
        assert "ended interrupted" in ended(process, 1)
    with house.watch("--json", "--anew") as process:
        assert next(sightings(process))["number"] == 1
        process.send_signal(signal.SIGINT)
        ended(process, 1)
    with opened(house.store, existing=True) as store:
        assert [watch.outcome for watch in store.watches("quay")] == [None, "left"]


@pytest.mark.parametrize("outcome", [None, Outcome.DONE])
def test_the_end_of_a_watch_is_told_by_its_status(
    outcome: Outcome | None, house: House, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Interrupted twice (None), as timeout(1) does it; and done with a third of the access points missing."""
    _, good = polled(60)
    at = next(number for number, each in enumerate(good) if each.stage == "done")
    names = good[at].ap_names or ()
    seen = [*good[:at], replace(good[at], aps=16, ap_names=names[8:])]

    def watch(*given: Any, **_: Any) -> tuple[WatchState, Outcome]:
        state, happened = watched(seen if outcome else good[:at])
        for viewer in given[6]:
            viewer.polled(state, happened)
        if outcome is None:
            raise KeyboardInterrupt
        return state, outcome

    for name, value in house.environment().items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("collector.watching.watch.watch", watch)
    assert cli.main(["watch", "quay", "--store", house.store, "--plan", str(FIXTURES)]) == 1
    said = capsys.readouterr()
    end = "done with 1 failure" if outcome else "interrupted"
    assert f"ended {end} after" in said.err
    assert "reload-standby" in said.out.splitlines()[-7]


def test_its_time_is_over_some_time(house: House) -> None:
    with house.watch("--until", "1s") as process:
        assert "ended out of time" in ended(process, 1)


def test_the_picture_fits_eighty_columns_and_costs_a_slow_line_little(house: House) -> None:
    main, terminal = pty.openpty()
    termios.tcsetwinsize(main, (LINES, COLUMNS))
    screen = pyte.Screen(COLUMNS, LINES)
    stream = pyte.ByteStream(screen)
    with house.watch(stdout=terminal) as process:
        os.close(terminal)
        poll: list[bytes] = []
        polls: list[int] = []
        while not any(", poll 6" in line for line in screen.display):
            assert select.select([main], [], [], _PATIENCE)[0]
            sent = os.read(main, 65536)
            stream.feed(sent)
            poll.append(sent)
            polls.append(len(sent))
        shown = "\n".join(screen.display)
        for said in ("quay to 17.12.4", "Before the upgrade", A, B, "24 of 24 joined", "Auto-abort", "Turn back"):
            assert said in shown
        # The first picture, and then only what changed: the clock and the time that has passed.
        assert max(polls[-4:]) < 400
        # The terminal goes away, and the watch doesn't.
        os.close(main)
        process.send_signal(signal.SIGHUP)
        house.of.playing.go_to("after")
        assert "ended done" in ended(process, 0)


def test_durations_of_five_watches_feed_the_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(tmp_path / "watches.db")
    with opened(path) as store:
        for seconds in (700.0, 705.0, 710.0, 715.0, 720.0):
            watch = keeping.begun(store, start(), "/etc/readypair", "north", BEGINS)
            keeping.StoreKeeper(watch.writer).finish(BEGINS, Outcome.DONE, {"reload-standby": seconds})
    arguments = ["plan", "quay", "--inventory", str(INVENTORY), "--from", str(FIXTURES), "--json"]

    def source(*options: str) -> str:
        cli.main([*arguments, *options])
        [pair] = json.loads(capsys.readouterr().out)["plans"]
        return next(str(stage["source"]) for stage in pair["stages"] if stage["id"] == "reload-standby")

    assert source() == "policy"
    assert source("--store", path) == "history"


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ([], "a watch keeps every poll; name the store with --store"),
        (["--every", "4"], "'4' must be a number of seconds from 5 to 3600"),
        (["--until", "soon"], "'soon' must be a time such as 06:00"),
        (["--until", "2027-02-07T06:00"], "must be a time such as 06:00"),
    ],
)
def test_a_wrong_question_is_told_in_a_sentence(
    options: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["watch", "quay", "--inventory", str(INVENTORY), *options]
    try:
        status = cli.main(arguments)
    except SystemExit as wrong:
        status = int(wrong.code or 0)
    assert status == 2
    assert sentence in capsys.readouterr().err
