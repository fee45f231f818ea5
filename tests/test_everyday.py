"""What happens to every program some night: disks without room, folders that refuse, locks, signals, clocks, terminals.

What is finished is kept and told of, the rest is one sentence, and nothing is more ready for it.
"""

from __future__ import annotations

import errno
import json
import os
import pty
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import termios
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import asyncssh
import pytest

from collector import demo, hostkeys, recording
from collector.cli import main
from collector.commands import telling, watch
from collector.finding import Status
from collector.hostkeys import HostKey, KnownHosts
from collector.nights.night import night_of
from collector.rules import find
from collector.snapshot import Snapshot
from collector.store import opening, writing
from collector.store.memory import StoreMemory
from collector.store.store import StoreError, opened
from tests.collector.commands.sweeping import PATIENCE, Service, controllers, deaf, ending, ports, service
from tests.collector.rules.building import policy, snapshot
from tests.collector.store.judged import judged, kept
from tests.postgresql import Server
from tests.small_disk import PAGE, Disk, small_disk

RECORDED = str(demo.fixtures_folder())
INVENTORY = str(demo.inventory_folder())
REPLAY = ("replay", RECORDED, "--inventory", INVENTORY, "--quiet", "--pairs", "[qt]*")
VERDICTS = {"quay": "go", "tidewater": "go", "twin-beacons": "no-go"}
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture(autouse=True)
def _nothing_of_the_users_own(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("STORE", "COLLECTOR", "INVENTORY", "NOTIFY"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)


def verdicts(out: str) -> dict[str, str]:
    return {pair["pair"]: pair["verdict"] for pair in json.loads(out)["pairs"]}


def half_written(folder: Path) -> list[Path]:
    return [path for path in folder.rglob(".*") if path.is_file()]


# Disks without room


@pytest.fixture
def disk() -> Iterator[Disk]:
    with small_disk(24 * PAGE) as made:
        yield made


def test_a_folder_that_takes_no_more_costs_no_verdict(disk: Disk, capsys: pytest.CaptureFixture[str]) -> None:
    out = disk.folder / "out"
    out.mkdir()
    (out / "report.json").write_text("of the night before")
    assert main([*REPLAY, "--json", "--out", str(out)]) == 2
    said, err = capsys.readouterr()
    assert verdicts(said) == VERDICTS
    captures, reports, members = err.splitlines()
    for sentence, where in ((captures, out / "captures"), (reports, out / "report.json")):
        assert sentence.startswith(f"readypair: {where}")
        assert f": {disk.refusal}; " in sentence
    assert "members were not written whole: " in members
    assert (out / "report.json").read_text() == "of the night before"
    assert half_written(out) == []
    # Who replays what there was room for hears of no pair that lost something that it is go.
    lost = {name.strip().rpartition("-")[0] for name in members.rpartition(": ")[2].split(",")}
    assert main(["replay", str(out), *REPLAY[2:], "--json"]) in (1, 2)
    again = capsys.readouterr().out
    told = verdicts(again) if again else {}
    assert not [pair for pair in lost if told.get(pair) == "go"]


def test_a_plan_is_told_though_its_folder_takes_no_more(disk: Disk, capsys: pytest.CaptureFixture[str]) -> None:
    out = disk.folder / "plan"
    disk.fill()
    assert main(["plan", "quay", "--from", RECORDED, "--inventory", INVENTORY, "--json", "--out", str(out)]) == 2
    said, err = capsys.readouterr()
    assert [each["pair"] for each in json.loads(said)["plans"]] == ["quay"]
    assert f"readypair: {out / 'plan.json'}: {disk.refusal}; " in err
    assert list(out.iterdir()) == []


def test_half_a_host_key_is_taken_back(disk: Disk) -> None:
    def key(host: str) -> HostKey:
        type_, base64 = asyncssh.generate_private_key("ssh-ed25519").export_public_key().decode().split()[:2]
        return HostKey(host, type_, base64)

    path, old = disk.folder / "known_hosts", key("192.0.2.11")
    whole = f"# {'x' * (PAGE - len(old.line) - 14)}\n{old.line}\n"
    path.write_text(whole)
    assert PAGE - 20 < path.stat().st_size < PAGE
    disk.fill()
    with pytest.raises(OSError, match=str(path)):
        hostkeys.record(path, [key("192.0.2.12")])
    assert path.read_text() == whole
    assert KnownHosts.read(path).standing(old) is hostkeys.Standing.KNOWN


# Folders that refuse


@pytest.mark.parametrize("place", ["under a file", "a long name", "a link to nowhere", "no folder for files"])
def test_a_place_that_cannot_be_written_to_is_named(
    place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere" / "file")
    named = {
        "under a file": tmp_path / "file" / "x",
        "a long name": tmp_path / ("n" * 300),
        "a link to nowhere": tmp_path / "link",
        # Whoever it is that asks: nobody makes a file there.
        "no folder for files": Path("/proc/self/x"),
    }[place]
    asked = {
        "out": [*REPLAY, "--out", str(named)],
        "csv": [*REPLAY, "--csv", str(named)],
        "store": [*REPLAY, "--store", str(named)],
        "plan": ["plan", "quay", "--from", RECORDED, "--inventory", INVENTORY, "--out", str(named)],
        "record": ["record", "quay", "--from", RECORDED, "--inventory", INVENTORY, "--quiet", "--into", str(named)],
    }
    for option, arguments in asked.items():
        status = main(arguments)
        err = capsys.readouterr().err
        if (option, place) == ("csv", "a link to nowhere"):
            # A link is replaced by the file, as any other file is.
            assert status == 1
            named.unlink()
            named.symlink_to(tmp_path / "nowhere" / "file")
            continue
        assert status == 2, (option, err)
        assert str(named.parent) in err, option
        assert "Traceback" not in err, option
        assert len(err.splitlines()) == 1, (option, err)


def test_a_folder_of_another_accounts_is_named_with_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", "/of/nobody/knows")

    monkeypatch.setattr(tempfile, "TemporaryFile", refused)
    assert main([*REPLAY, "--csv", str(tmp_path / "x.csv")]) == 2
    sentence = f"readypair: {tmp_path}: Permission denied; give this account the right to write there, or name another"
    assert capsys.readouterr().err.startswith(sentence)


# Stores that somebody holds


def held(path: Path, monkeypatch: pytest.MonkeyPatch) -> sqlite3.Connection:
    """Another program, which takes the store's lock as soon as the first pair is looked up in it."""
    other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    past = StoreMemory.past

    def after(self: StoreMemory, asked: Any) -> Any:
        found = past(self, asked)
        if not other.in_transaction:
            other.execute("BEGIN IMMEDIATE")
        return found

    monkeypatch.setattr(StoreMemory, "past", after)
    return other


def test_a_store_that_is_held_all_the_time_costs_no_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "nights.db"
    monkeypatch.setattr(opening, "PATIENCE", 0)
    with opened(str(path)):
        pass
    other = held(path, monkeypatch)
    assert main([*REPLAY, "--json", "--store", str(path)]) == 2
    out, err = capsys.readouterr()
    assert verdicts(out) == VERDICTS
    [sentence] = err.splitlines()
    assert "is locked by another program for more than" in sentence
    lost = sentence.rpartition("; 3 pairs were not stored: ")[2]
    assert sorted(lost.split(", ")) == sorted(VERDICTS)
    other.close()
    with opened(str(path), existing=True) as store:
        assert store.pairs() == ()


def test_a_store_that_is_held_for_a_moment_is_waited_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "nights.db"
    with opened(str(path)):
        pass
    other = held(path, monkeypatch)
    keep = writing.Writer.keep
    released: list[threading.Timer] = []

    def keeping(self: Any, *given: Any, **more: Any) -> None:
        if not released:
            released.append(threading.Timer(0.3, other.rollback))
            released[0].start()
            monkeypatch.setattr(StoreMemory, "past", lambda *_: None)
        keep(self, *given, **more)

    monkeypatch.setattr(writing.Writer, "keep", keeping)
    assert main(["replay", *REPLAY[1:-1], "quay", "--json", "--store", str(path)]) == 0
    assert capsys.readouterr().err == ""
    released[0].join()
    other.close()
    with opened(str(path), existing=True) as store:
        assert store.pairs() == ("quay",)


def test_a_table_that_is_held_on_a_server_is_not_waited_for_without_end(
    postgresql: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    import psycopg

    monkeypatch.setattr(opening, "PATIENCE", 1)
    name = postgresql.database()
    with opened(postgresql.url(name)) as store, psycopg.connect(postgresql.url(name)) as other:
        other.execute("LOCK TABLE judgements IN ACCESS EXCLUSIVE MODE")
        with pytest.raises(StoreError, match="is locked by another program for more than"):
            kept(store, judged())
        other.rollback()
        kept(store, judged())
        assert store.pairs() == ("quay",)


# Signals


@pytest.fixture
def hanging(tmp_path: Path) -> Iterator[tuple[Service, socket.socket]]:
    """A service whose one pair takes the connection and says nothing; the socket of a member."""
    with controllers() as running, deaf("pier") as sockets, service(tmp_path, running) as made:
        made.lead(ports(running, sockets))
        yield made, sockets["pier-a"]


def test_a_stopped_check_tells_what_it_has_and_a_stopped_recording_leaves_nothing(
    tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    store = tmp_path / "nights.db"
    with ending(made.start("check", "pier", "--store", str(store))) as process:
        assert mute.accept()
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 1, err
    assert "undecided" in out
    with opened(str(store), existing=True) as read:
        assert [night.verdict.value for night in read.nights("pier")] in (["undecided"], [])
    into = tmp_path / "fixtures"
    with ending(made.start("record", "pier", "--into", str(into))) as process:
        assert mute.accept()
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 2
    assert err.splitlines()[-1] == "readypair: interrupted before there was anything to report"
    assert not into.exists()


def test_a_watch_that_is_stopped_before_its_first_poll_says_so(
    tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    with ending(made.start("watch", "pier", "--store", str(tmp_path / "watches.db"))) as process:
        assert mute.accept()
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 1
    sentence, last = err.splitlines()[-2:]
    assert sentence == "readypair: interrupted before its first poll"
    assert "0 polls, " in last
    assert "ended interrupted after" in last


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_in_the_middle_of_a_file_leaves_the_old_one_and_no_half_of_a_new_one(
    number: signal.Signals, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    csv = tmp_path / "fleet.csv"
    csv.write_text("of the night before")
    before = signal.getsignal(number)
    monkeypatch.setattr(Path, "replace", lambda *_: signal.raise_signal(number))
    assert main([*REPLAY, "--csv", str(csv)]) == 2
    assert capsys.readouterr().err == "readypair: stopped at once, before all was told\n"
    assert csv.read_text() == "of the night before"
    assert list(tmp_path.iterdir()) == [csv]
    assert signal.getsignal(number) is before


@pytest.mark.parametrize(
    ("options", "kept"),
    [
        ([], ""),
        (["--store", "DIR/nights.db"], "; what was finished is kept in the store"),
        (["--out", "DIR/out"], "; what was finished is kept in DIR/out"),
        (["--store", "DIR/nights.db", "--out", "DIR/out"], "; what was finished is kept in the store and in DIR/out"),
    ],
)
def test_a_stop_at_once_says_what_it_leaves(
    options: list[str], kept: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(telling, "tell", lambda *_: signal.raise_signal(signal.SIGINT))
    assert main([*REPLAY, *(each.replace("DIR", str(tmp_path)) for each in options)]) == 2
    said = f"stopped at once, before all was told{kept.replace('DIR', str(tmp_path))}"
    assert capsys.readouterr().err == f"readypair: {said}\n"
    if "--store" in options:
        with opened(str(tmp_path / "nights.db"), existing=True) as store:
            assert store.nights("quay")
    if "--out" in options:
        assert {each.name for each in (tmp_path / "out" / "captures").iterdir()} >= {"quay-a", "quay-b"}


def test_a_stop_at_once_promises_nothing_of_a_disk_that_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(tmp_path))

    monkeypatch.setattr(recording, "write", full)
    monkeypatch.setattr(telling, "tell", lambda *_: signal.raise_signal(signal.SIGINT))
    assert main([*REPLAY, "--out", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err == "readypair: stopped at once, before all was told\n"


# Clocks


def taken_at(moment: datetime, jump: timedelta) -> Snapshot:
    """A healthy pair, by a collector whose clock jumped so far before it asked the second member."""
    found = snapshot(moment=moment + jump)
    first, second = (
        replace(member, captures={name: replace(each, started=at) for name, each in member.captures.items()})
        for member, at in zip(found.members, (moment, moment + jump), strict=True)
    )
    return replace(found, members=(first, second))


@pytest.mark.parametrize("year", [1970, 2099])
def test_a_collector_in_another_age_is_told_of_and_judges_no_certificate_good(year: int) -> None:
    told = taken_at(datetime(year, 2, 5, 22, 0, tzinfo=UTC), timedelta(0))
    for id in ("clock", "certificates"):
        rule = find(id)
        assert rule is not None
        assert rule.judge(told, policy()).status in (Status.BLOCK, Status.UNKNOWN), id


@pytest.mark.parametrize("jump", [timedelta(hours=1), timedelta(days=1), timedelta(hours=-1)])
def test_a_clock_that_jumps_in_a_sweep_makes_no_capture_younger(jump: timedelta) -> None:
    rule = find("evidence-age")
    assert rule is not None
    assert rule.judge(taken_at(demo.EVENING, timedelta(0)), policy()).status is Status.PASS
    assert rule.judge(taken_at(demo.EVENING, jump), policy()).status is Status.BLOCK


@pytest.mark.parametrize(
    ("now", "shown"),
    [
        # The nights on which the clocks go back and on: in between lie 7 and 5 hours by the clock on the wall plus one.
        ("2026-10-24T23:00:00+02:00", "2026-10-25T06:00:00+01:00"),
        ("2027-03-27T23:00:00+01:00", "2027-03-28T06:00:00+02:00"),
        ("2026-10-25T06:00:00+01:00", "2026-10-26T06:00:00+01:00"),
    ],
)
def test_an_hour_is_that_of_the_clocks_then(now: str, shown: str) -> None:
    at = datetime.fromisoformat(now)
    assert watch._until("06:00")(at, BERLIN) == datetime.fromisoformat(shown)
    assert watch._until("8h")(at, BERLIN) - at == timedelta(hours=8)


def test_a_watchs_moments_are_subtracted_as_time_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    moments = iter([datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)])

    class Set(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return next(moments)

    monkeypatch.setattr(watch, "datetime", Set)
    monkeypatch.setattr("collector.watching.opening.zone_of", lambda pair: BERLIN)
    now = watch._now(None)  # type: ignore[arg-type]
    first, second = now(), now()
    assert (f"{first:%H:%M %z}", f"{second:%H:%M %z}") == ("02:30 +0200", "02:30 +0100")
    assert second - first == timedelta(hours=1)


@pytest.mark.parametrize("hour", range(11))
def test_a_night_on_which_the_clocks_change_is_one_night(hour: int) -> None:
    for evening in (datetime(2026, 10, 24, 20, tzinfo=BERLIN), datetime(2027, 3, 27, 20, tzinfo=BERLIN)):
        later = (evening.astimezone(UTC) + timedelta(hours=4 + hour)).astimezone(BERLIN)
        assert night_of(later) == evening.date()


# Terminals and surroundings


def test_a_terminal_that_shrinks_to_nothing_gets_its_report(
    tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    master, slave = pty.openpty()
    with ending(made.start("sweep", stderr=slave)) as process:
        os.close(slave)
        assert mute.accept()
        for size in ((1, 1), (50, 200), (24, 80)):
            termios.tcsetwinsize(master, size)
            process.send_signal(signal.SIGWINCH)
        process.send_signal(signal.SIGTERM)
        out, _ = process.communicate(timeout=PATIENCE)
        seen = b""
        try:
            while part := os.read(master, 65536):
                seen += part
        except OSError:
            os.close(master)
    assert process.returncode == 1
    assert "1 of 1 pair not reached in time" in out
    assert b"Traceback" not in seen
    assert b"ended interrupted" in seen


# One process for all that can be tried in one: each is what a shell or a service manager can do to it.
SURROUNDINGS = """
import os, shutil, sys
from collector.cli import main
asked, out = sys.argv[1:-1], sys.argv[-1]
os.umask(0o777)
for name, value in {"TERM": "dumb", "COLUMNS": "0", "LINES": "0", "HOME": "/proc", "TZ": "Nowhere/Nope"}.items():
    os.environ[name] = value
os.mkdir(out + "-gone", 0o700)
os.chdir(out + "-gone")
os.rmdir(out + "-gone")
sys.exit(main([*asked, "--csv", out]))
"""


def test_whatever_a_service_manager_does_to_its_surroundings(tmp_path: Path) -> None:
    csv = tmp_path / "fleet.csv"
    surroundings = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "TMPDIR": "/nonexistent"}
    ran = subprocess.run(
        [sys.executable, "-c", SURROUNDINGS, *REPLAY[:-1], "quay", str(csv)],
        capture_output=True,
        env={name: value for name, value in os.environ.items() if name != "HOME"} | surroundings,
        timeout=PATIENCE,
    )
    assert (ran.returncode, ran.stderr) == (0, b"")
    assert csv.stat().st_mode & 0o777 == 0o600
    assert "|go " in ran.stdout.decode("ascii")


@pytest.mark.parametrize("files", [4, 10])
def test_too_few_files_are_no_go_and_one_sentence(files: int, tmp_path: Path) -> None:
    limit = f"import resource as r; r.setrlimit(r.RLIMIT_NOFILE, ({files}, {files}))"
    with controllers("quay", "pier") as running, service(tmp_path, running) as made:
        ran = subprocess.run(
            [
                sys.executable,
                "-c",
                f"{limit}; from collector.cli import run; run()",
                "sweep",
                "--json",
                "--workers",
                "20",
            ],
            capture_output=True,
            text=True,
            env=made.environment,
            timeout=PATIENCE,
        )
    assert "Traceback" not in ran.stderr
    if ran.returncode == 2:
        assert "Too many open files; raise the limit of open files (ulimit -n)" in ran.stderr
        return
    for pair in json.loads(ran.stdout)["pairs"]:
        assert pair["verdict"] == "undecided" or all(member["reached"] for member in pair["members"])
