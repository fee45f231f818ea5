"""The sweep as a service, in real processes: its deadline, its lock, its last line, and how it ends on a signal."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import signal
import socket
import struct
import subprocess
import sys
import termios
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector import demo
from collector.cli import main
from collector.simulated import Behaviour
from inventory import opening
from tests.collector.commands.sweeping import (
    BY_JUMP,
    PATIENCE,
    Service,
    controllers,
    deaf,
    ending,
    last_line,
    ports,
    read_to,
    service,
)

STUBBORN = (
    "import os, signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); "
    'print(os.getpid(), file=open("{file}", "a")); signal.pause()'
)


@pytest.fixture
def quay(tmp_path: Path) -> Iterator[Service]:
    """A service that asks one pair, which is go."""
    with controllers("quay") as running, service(tmp_path, running) as made:
        yield made


@pytest.fixture
def hanging(tmp_path: Path) -> Iterator[tuple[Service, socket.socket]]:
    """A service that asks that pair, and one of which a member takes the connection and says nothing; its socket."""
    with controllers("quay") as running, deaf("pier") as sockets, service(tmp_path, running) as made:
        made.lead(ports(running, sockets))
        yield made, sockets["pier-a"]


def report(folder: Path) -> dict[str, dict[str, object]]:
    pairs = json.loads((folder / "report.json").read_text())["pairs"]
    return {pair["pair"]: pair for pair in pairs}


# The deadline


def test_the_deadline_holds_whatever_state_controllers_hang_in(tmp_path: Path) -> None:
    behaviours = {
        "login": Behaviour(silent_at_login=True),
        "prompt": Behaviour(silent_after_login=True),
        "setting": Behaviour(latency=3600),
        "answer": Behaviour(silent=["show version"]),
    }
    with (
        controllers("jump", **behaviours) as running,
        deaf("greeting", connecting="connection") as sockets,
        service(tmp_path, running) as made,
    ):
        made.lead(ports(running, sockets), {"jump-a": BY_JUMP, "jump-b": BY_JUMP})
        jumps = tmp_path / "jumps"
        command = f"{sys.executable} -c '{STUBBORN.format(file=jumps)}'"
        (tmp_path / "home" / ".ssh" / "config").write_text(f"Host {BY_JUMP}\n  ProxyCommand {command}\n")
        status, out, err = made.run("sweep", "--deadline", "6s", "--out", str(tmp_path / "out"))
    last = last_line(err, status)
    assert (status, last["ended"], last["pairs"], last["late"], last["go"]) == (1, "deadline", "7", "7", "0")
    assert "7 of 7 pairs not reached in time" in out
    assert json.loads((tmp_path / "out" / "report.json").read_text())["ended"] == "deadline"
    for pair in report(tmp_path / "out").values():
        (because,) = {member["unreached_because"] for member in pair["members"]}  # type: ignore[attr-defined]
        # A machine that takes six seconds to begin has asked nobody by then.
        assert because.startswith("the sweep's deadline of 6 s came ")
        assert pair["in_time"] is False
    # Nothing is left behind by the way that led to one of them.
    for process in jumps.read_text().split() if jumps.exists() else ():
        with pytest.raises(ProcessLookupError):
            os.kill(int(process), 0)


def test_who_is_reached_in_time_is_judged_and_who_is_not_is_first_the_next_time(
    tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    store = ("--store", str(tmp_path / "store.db"))
    asking = ("sweep", "--workers", "1")
    # The pair that hangs is asked last, when the other one has been judged; the time is over while it hangs.
    with ending(made.start(*asking, *store)) as process:
        said = read_to(process.stderr, "1/2 ")
        assert mute.accept()
        process.send_signal(signal.SIGTERM)
        status = process.wait(PATIENCE)
        assert last_line(said + process.stderr.read(), status)["late"] == "1"  # type: ignore[union-attr]
    assert said.splitlines()[-1] == "1/2 quay: go"
    # Without a store nobody remembers.
    with ending(made.start(*asking)) as process:
        assert read_to(process.stderr, "1/2 ").splitlines()[-1] == "1/2 quay: go"
    with ending(made.start(*asking, *store)) as process:
        assert mute.accept()
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=PATIENCE)
    # This time it hung before the other one's turn came.
    assert last_line(err, 1)["late"] == "2"


@pytest.mark.parametrize("command", ["demo", "replay"])
def test_the_commands_that_rehearse_it_have_a_deadline_too(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    folder = [str(demo.fixtures_folder())] if command == "replay" else []
    inventory = ("--inventory", str(demo.inventory_folder()))
    assert main([command, *folder, *inventory, "--pairs", "quay", "--deadline", "1h", "--quiet"]) == 0
    out, err = capsys.readouterr()
    assert "in time" not in out
    assert "readypair sweep:" not in err


# The lock


def test_a_second_sweep_says_who_sweeps_and_leaves_no_trace(
    tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    with ending(made.start("sweep")) as first:
        assert mute.accept()
        out, store = tmp_path / "out", tmp_path / "store.db"
        status, printed, err = made.run("sweep", "--out", str(out), "--store", str(store))
        sentence, last = err.splitlines()
        assert sentence.startswith(f"readypair: another sweep of {made.inventory} is running since ")
        assert sentence.endswith(f" (process {first.pid}); wait for it to end")
        assert (status, printed, last_line(last, 2)["ended"]) == (2, "", "failed")
        assert not out.exists()
        assert not store.exists()
        # Nobody else waits for it.
        assert made.run("check", "quay")[0] == 0
        assert made.run("replay", str(demo.fixtures_folder()), "--pairs", "quay")[0] == 0
        first.kill()
        first.wait(PATIENCE)
        assert made.run("sweep", "--pairs", "quay")[0] == 0


def test_a_machine_is_not_kept_from_sweeping_by_another_one(
    tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    store = ("--store", str(tmp_path / "store.db"))
    with ending(made.start("sweep", *store)):
        assert mute.accept()
        other = Service(tmp_path, {**made.environment, "READYPAIR_STATE": str(tmp_path / "state of another machine")})
        assert other.run("sweep", "--pairs", "quay", *store)[0] == 0


# The last line


@pytest.mark.parametrize("options", [(), ("--quiet",), ("--json",), ("--json", "--quiet")])
def test_the_last_line_is_there_whatever_is_printed(options: tuple[str, ...], quay: Service) -> None:
    status, out, err = quay.run("sweep", *options)
    last = last_line(err, status)
    assert (status, last["ended"], last["pairs"], last["go"], last["late"]) == (0, "complete", "1", "1", "0")
    if "--json" in options:
        assert json.loads(out)["ended"] == "complete"
    if "--quiet" in options:
        assert len(err.splitlines()) == 1


def test_what_keeps_a_report_from_being_printed_comes_before_the_last_line(quay: Service) -> None:
    with Path("/dev/full").open("w") as full:
        status, _, err = quay.run("sweep", stdout=full)
    assert (status, last_line(err, status)["ended"]) == (2, "failed")
    assert err.splitlines()[-2] == "readypair: standard output: No space left on device"


def test_an_internal_error_is_told_before_it(
    quay: Service, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a mistake of ours")

    for name, value in quay.environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("collector.judging.rules.judge", broken)
    assert main(["sweep"]) == 3
    err = capsys.readouterr().err
    assert "internal error (RuntimeError)" in err.splitlines()[-2]
    last = last_line(err, 3)
    assert (last["ended"], last["pairs"], last["undecided"]) == ("failed", "1", "0")


def test_the_handlers_of_signals_are_as_before(quay: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, value in quay.environment.items():
        monkeypatch.setenv(name, value)
    before = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)]
    assert main(["sweep", "--quiet"]) == 0
    assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)] == before


# Signals


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_keeps_what_is_finished(
    number: signal.Signals, tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    with ending(made.start("sweep", "--out", str(tmp_path / "out"))) as process:
        said = read_to(process.stderr, "1/2 quay: go")
        assert mute.accept()
        process.send_signal(number)
        out, err = process.communicate(timeout=PATIENCE)
    last = last_line(said + err, process.returncode)
    assert (process.returncode, last["ended"], last["go"], last["late"]) == (1, "interrupted", "1", "1")
    assert "1 of 2 pairs not reached in time" in out
    pairs = report(tmp_path / "out")
    assert (pairs["quay"]["verdict"], pairs["quay"]["in_time"]) == ("go", True)
    assert (pairs["pier"]["verdict"], pairs["pier"]["in_time"]) == ("undecided", False)


def test_a_signal_before_anybody_is_asked_ends_it(
    quay: Service, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(*_: object) -> None:
        os.kill(os.getpid(), signal.SIGTERM)

    monkeypatch.setattr(opening, "open_inventory", interrupted)
    assert main(["sweep", "--inventory", str(quay.inventory)]) == 2
    err = capsys.readouterr().err
    assert last_line(err, 2)["ended"] == "interrupted"
    assert err.splitlines()[:-1] == ["readypair: interrupted before there was anything to report"]


@pytest.fixture
def printing(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    """A sweep of several pairs that is printing its report, and waits for somebody to read on."""
    pairs = [f"pair{number}" for number in range(6)]
    with (
        controllers(*pairs) as running,
        service(tmp_path, running) as made,
        ending(made.start("sweep", "--json", "--store", str(tmp_path / "nights.db"))) as process,
    ):
        assert process.stdout is not None
        room = fcntl.fcntl(process.stdout, fcntl.F_GETPIPE_SZ)
        waiting = 0
        for _ in range(1200):
            (waiting,) = struct.unpack("i", fcntl.ioctl(process.stdout, termios.FIONREAD, b"\0" * 4))
            if waiting == room:
                break
            threading.Event().wait(0.05)
        assert waiting == room
        yield process


def test_a_signal_once_all_are_asked_keeps_the_report(printing: subprocess.Popen[str]) -> None:
    printing.send_signal(signal.SIGTERM)
    out, err = printing.communicate(timeout=PATIENCE)
    assert len(json.loads(out)["pairs"]) == 6
    assert last_line(err, printing.returncode)["ended"] == "complete"
    assert printing.returncode == 0


def test_a_second_signal_ends_it_at_once(printing: subprocess.Popen[str]) -> None:
    # Two of a kind might be delivered as one.
    printing.send_signal(signal.SIGTERM)
    printing.send_signal(signal.SIGINT)
    # Nobody reads on meanwhile.
    assert printing.wait(PATIENCE) == 2
    assert printing.stderr is not None
    err = printing.stderr.read()
    last = last_line(err, 2)
    assert (last["ended"], last["go"], last["late"]) == ("interrupted", "6", "0")
    said = "readypair: stopped at once, before all was told; what was finished is kept in the store"
    assert err.splitlines()[-2] == said


def test_a_terminal_that_goes_away_takes_no_pair_with_it(
    tmp_path: Path, hanging: tuple[Service, socket.socket]
) -> None:
    made, mute = hanging
    master, slave = pty.openpty()
    process = made.start(
        "sweep",
        "--out",
        str(tmp_path / "out"),
        stdout=slave,
        stderr=slave,
        start_new_session=True,
        preexec_fn=lambda: fcntl.ioctl(slave, termios.TIOCSCTTY, 0),
    )
    with ending(process):
        os.close(slave)
        seen = b""
        while b"1/2" not in seen:
            seen += os.read(master, 65536)
        assert mute.accept()
        os.close(master)
        assert process.wait(PATIENCE) == 1
    assert {name: pair["verdict"] for name, pair in report(tmp_path / "out").items()} == {
        "quay": "go",
        "pier": "undecided",
    }
