"""A played upgrade over real SSH on loopback."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from collector import demo, job, playing, recording, rules, simulated, ssh
from collector.capture import Capture, Ending
from collector.finding import Verdict
from collector.judging import judge_pair
from collector.played_upgrade import Pace, Upgrade
from collector.playing import Playing
from collector.simulated import ADDRESS
from inventory.opening import open_inventory
from parsers import catalogue
from tests.collector.playing_pair import BEGINS, IMAGE_BYTES
from tests.collector.simulated_client import Terminal, connected, logged_in, wait_until
from tests.demo_fleet import FIXTURES, INVENTORY, fleet

HOUSE = Path(__file__).parents[2]
A, B = "quay-a", "quay-b"
STILL = Upgrade("17.12.4", IMAGE_BYTES, Pace(speed=0.0), batches=2)
FAST = Pace(10, 30, 60, 40, 20, 100, 20, 30, 10, 7200, speed=100.0)


@contextmanager
def quay(upgrade: Upgrade = STILL, *, silent: bool = False) -> Iterator[Playing]:
    with playing.play({name: FIXTURES / name for name in (A, B)}, upgrade, begins=BEGINS, silent=silent) as played:
        yield played


def state_of(shell: Terminal, prompt: str) -> str:
    """The member's own state, asked in its session."""
    said = shell.say("show redundancy | include Current Software state\r", prompt)
    return said.split(" = ")[1].split("\r")[0]


def is_refused(played: Playing, member: str) -> bool:
    try:
        socket.create_connection((ADDRESS, played.fleet.ports[member]), timeout=10).close()
    except ConnectionRefusedError:
        return True
    return False


def test_the_whole_play_at_a_terminal() -> None:
    with quay() as played, logged_in(played.fleet, A) as a:
        a.read_to("quay-a#")
        with logged_in(played.fleet, B) as b:
            b.read_to("quay-b-stby#")
            assert (state_of(a, "quay-a#"), state_of(b, "quay-b-stby#")) == ("ACTIVE", "STANDBY HOT")
            played.go_to("reload-standby")
            assert played.act == "reload-standby"
            # The standby's session is gone without a farewell, and nobody is let in; the active one's goes on.
            b.read_all()
            assert b.channel.recv_exit_status() == -1
        assert is_refused(played, B)
        assert "Simplex" in a.say("show redundancy | include Hardware\r", "quay-a#")
        played.go_to("synchronise")
        with logged_in(played.fleet, B) as b:
            b.read_to("quay-b-stby#")
            assert state_of(b, "quay-b-stby#") == "STANDBY COLD-BULK"
            assert "17.12.4" in b.say("show version | include Version\r", "quay-b-stby#")
            played.go_to("synchronise", 0.9)
            assert state_of(b, "quay-b-stby#") == "STANDBY HOT"
            assert state_of(a, "quay-a#") == "ACTIVE"
            # Both lose their sessions at the switchover, and only the other one is to be had again.
            played.go_to("switch-over")
            b.read_all()
            a.read_all()
        assert is_refused(played, A)
        with logged_in(played.fleet, B) as b:
            b.read_to("quay-b#")
            assert state_of(b, "quay-b#") == "ACTIVE"
            played.go_to("validate")
            assert state_of(b, "quay-b#") == "ACTIVE"
            with logged_in(played.fleet, A) as back:
                back.read_to("quay-a-stby#")
                assert state_of(back, "quay-a-stby#") == "STANDBY HOT"


def test_a_session_survives_a_takeover_and_its_prompt_changes() -> None:
    with quay(replace(STILL, failure="active-crashes")) as played:
        crash = played.play.moment("restart-aps")
        played.set_elapsed(crash - 1)
        with logged_in(played.fleet, A) as a:
            a.read_to("quay-a-stby#")
            played.set_elapsed(crash)
            assert a.say("\r", "#") == "\r\nquay-a#"
            assert is_refused(played, B)


@pytest.mark.parametrize(
    ("member", "prompt", "later"), [(A, "quay-a#", "quay-a-stby#"), (B, "quay-b-stby#", "quay-b#")]
)
def test_a_jump_over_a_reload_ends_the_sessions_of_before_in_either_direction(
    member: str, prompt: str, later: str
) -> None:
    with quay() as played:
        with logged_in(played.fleet, member) as shell:
            shell.read_to(prompt)
            played.go_to("validate")
            shell.read_all()
        with logged_in(played.fleet, member) as shell:
            shell.read_to(later)
            played.go_to("before")
            shell.read_all()
        with logged_in(played.fleet, member) as shell:
            shell.read_to(prompt)


def test_who_is_down_may_take_connections_and_say_nothing() -> None:
    with quay(silent=True) as played:
        played.go_to("reload-standby")
        with socket.create_connection((ADDRESS, played.fleet.ports[B]), timeout=10) as wire:
            wire.settimeout(0.2)
            with pytest.raises(TimeoutError):
                wire.recv(1)
            played.go_to("synchronise")
            wire.settimeout(20)
            with pytest.raises(ConnectionResetError):
                wire.recv(1)
        with logged_in(played.fleet, B) as b:
            b.read_to("quay-b-stby#")


def test_who_is_asked_at_the_moment_of_going_down_gives_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    with quay() as played, logged_in(played.fleet, B) as b:
        b.read_to("quay-b-stby#")
        # As if the question had come before the session was dropped.
        monkeypatch.setattr(Playing, "_show", lambda _: None)
        played.go_to("reload-standby")
        b.channel.sendall(b"show clock\r")
        assert b.read_all() == ""
        assert b.channel.recv_exit_status() == -1


def test_a_connection_that_is_heard_of_after_the_member_left_is_dropped(mocker: MockerFixture) -> None:
    is_open = mocker.Mock()
    door = simulated._Door(simulated.Credentials.random(), simulated.Behaviour(), set(), is_open)
    for is_open.return_value in (True, False):
        connection = mocker.Mock()
        door.connection_made(connection)
        assert connection.abort.called is not is_open.return_value


def test_a_member_keeps_its_port_and_its_key_while_it_is_down() -> None:
    with quay() as played:
        port, key = played.fleet.ports[B], played.fleet.known_hosts_text()
        played.go_to("reload-standby")
        with socket.socket() as other, pytest.raises(OSError, match="in use"):
            other.bind((ADDRESS, port))
        played.go_to("synchronise")
        assert (played.fleet.ports[B], played.fleet.known_hosts_text()) == (port, key)
        with connected(played.fleet, B):
            pass


def test_a_command_without_a_shell_is_answered_by_the_moment() -> None:
    with quay() as played:
        for share, is_added in ((0.25, False), (0.75, True)):
            played.go_to("expand", share)
            with connected(played.fleet, A) as client:
                _, output, _ = client.exec_command("show install summary")
                assert (b"IMG   I" in output.read()) is is_added


def test_what_nobody_recorded_is_refused() -> None:
    with quay() as played, logged_in(played.fleet, A) as a:
        a.read_to("quay-a#")
        for typed in ("show tides", "install activate", "configure terminal"):
            assert "% Invalid input" in a.say(f"{typed}\r", "quay-a#")
        assert played.act == "before"


def test_the_time_of_the_play_goes_by_its_own_clock() -> None:
    with quay() as played:
        assert (played.elapsed, played.now()) == (0.0, BEGINS)
        played.set_elapsed(4000.0)
        assert (played.elapsed, played.now()) == (4000.0, BEGINS + timedelta(seconds=4000))
        assert played.act == "validate"
        assert played.members()[A].state == "STANDBY HOT"
    with quay(replace(STILL, pace=replace(STILL.pace, speed=1000.0))) as played:
        wait_until(lambda: played.elapsed > 1.0)
        played.stop()
        stands = played.elapsed
        assert played.elapsed == stands


def test_the_clock_alone_plays_it_to_the_end() -> None:
    with quay(replace(STILL, pace=FAST)) as played, connected(played.fleet, B) as client:
        transport = client.get_transport()
        assert transport is not None
        wait_until(lambda: not transport.is_active())
        wait_until(lambda: played.act == "after")
        with logged_in(played.fleet, B) as b:
            b.read_to("quay-b#")
            assert "17.12.4" in b.say("show version | include Version\r", "quay-b#")
        with logged_in(played.fleet, A) as a:
            a.read_to("quay-a-stby#")
            assert "IMG   C    17.12.04" in a.say("show install summary\r", "quay-a-stby#")


def test_a_pair_of_an_inventory_is_asked_by_nornir_as_any_other() -> None:
    own = open_inventory(INVENTORY, rules.waivable())
    pair = next(each for each in own.pairs if each.name == "quay")
    hosts = own.nornir.inventory.hosts
    upgrade = playing.upgrade_of(pair, replace(Pace.by_policy(own.policy), speed=0.0))
    assert (upgrade.target, upgrade.image_bytes) == ("17.12.4", IMAGE_BYTES)
    heard: dict[str, list[Capture]] = {}
    with playing.play_pair(own, pair, upgrade, begins=BEGINS) as played:

        def sweep() -> dict[str, list[Capture]]:
            job.gather(
                own.nornir,
                [pair],
                connection=ssh.CONNECTION,
                commands=catalogue.asked(),
                workers=1,
                heard=lambda _, captures: heard.update(captures),
            )
            # The play's time isn't this machine's.
            dated = partial(replace, started=played.now())
            return {member: [dated(capture) for capture in own] for member, own in heard.items()}

        before = judge_pair(pair, sweep(), own.policy, played.now())
        assert before.verdict is Verdict.GO
        assert [(member.role, member.release) for member in before.members] == [
            ("active", "17.9.4a"),
            ("standby", "17.9.4a"),
        ]
        played.go_to("reload-standby")
        captures = sweep()
        assert {capture.ending for capture in captures[B]} == {Ending.MISSING}
        assert {capture.ending for capture in captures[A]} == {Ending.COMPLETE}
        played.go_to("after")
        after = judge_pair(pair, sweep(), own.policy, played.now())
        assert [(member.role, member.release) for member in after.members] == [
            ("standby", "17.12.4"),
            ("active", "17.12.4"),
        ]
    assert (hosts[A].hostname, hosts[B].hostname) == ("192.0.2.11", "192.0.2.12")


def test_an_upgrade_without_an_image_is_refused() -> None:
    pair = next(each for each in fleet().pairs if each.name == "quay")
    with pytest.raises(playing.PlayError, match="quay: the inventory states no image"):
        playing.upgrade_of(replace(pair, image=None), Pace())


def test_recordings_of_no_pair_are_refused_before_anything_listens(tmp_path: Path) -> None:
    recording.write(tmp_path, A, [Capture(A, "show version", "x")])
    with (
        pytest.raises(playing.PlayError, match="one active and one standby"),
        playing.play({A: tmp_path / A, B: FIXTURES / B}, STILL),
    ):
        pass


def test_plays_in_a_process_of_its_own_until_interrupted(tmp_path: Path) -> None:
    written = tmp_path / "inventory"
    # It stays where it comes to: the standby never gets hot, and the timer is far off.
    options = ["--speed=1000", "--pace=before=1", "--pace=auto-abort=1e9", "--failure=standby-never-hot"]
    process = subprocess.Popen(
        [sys.executable, "-m", "collector.playing", "quay", *options, "--write-inventory", str(written)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "READYPAIR_USERNAME": "harbour", "READYPAIR_PASSWORD": "tide and time"},
        cwd=HOUSE,
    )
    try:
        assert process.stdout
        assert process.stderr
        hosts = [process.stdout.readline() for _ in range(2)]
        assert [line.split(":")[0] for line in hosts] == ['"quay-a"', '"quay-b"']
        acts: list[str] = []
        for line in process.stderr:
            acts += [line.split()[1]] if line[:2].isdigit() else []
            if acts[-1:] == ["synchronise"]:
                break
        # Which of the short ones before it were seen depends on the machine.
        assert acts[-1] == "synchronise"
        served = open_inventory(written, rules.waivable())
        member = served.nornir.inventory.hosts[A]
        assert (member.hostname, str(member.port)) == (ADDRESS, hosts[0].rsplit(" ", 1)[1].rstrip("}\n"))
        assert f"[{ADDRESS}]:{member.port} ssh-ed25519 " in (written / "known_hosts").read_text()
    finally:
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "Traceback" not in errors
    assert "tide and time" not in errors


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["harbour"], "there is no pair 'harbour'"),
        (["fogbank"], "fogbank"),
        (["quay", "--speed", "-1"], "speed is -1"),
        (["quay", "--pace", "expand=0"], "expand is 0"),
        (["quay", "--batches", "0"], "there are 0 batches"),
        (["quay", "--inventory", "/nowhere"], "/nowhere: there is no such inventory folder"),
        (["quay", "--recordings", "/nowhere"], "/nowhere: there is no such folder"),
        (["quay", "--write-inventory", "/"], "--write-inventory / is there already; name a folder that isn't"),
    ],
)
def test_says_in_a_sentence_what_cannot_be_played(
    arguments: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        assert playing.main(arguments) == 2
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    said = capsys.readouterr().err
    assert complaint in said
    assert said.count("\n") == 1


@pytest.mark.parametrize("wrong", ["harbour=3", "expand=soon", "expand", "speed=3"])
def test_a_stage_or_a_time_that_is_none_is_a_mistake_of_usage(wrong: str, capsys: pytest.CaptureFixture[str]) -> None:
    for option, value in (("--pace", wrong), ("--begin", "tomorrow")):
        with pytest.raises(SystemExit) as error:
            playing.main(["quay", option, value])
        assert error.value.code == 2
        assert "quay" not in capsys.readouterr().err.splitlines()[-1]


def test_begins_when_it_is_told_to(tmp_path: Path) -> None:
    started = time.time()
    parsed = playing._parser().parse_args(["quay", "--begin", "now"])
    assert abs(parsed.begin.timestamp() - started) < 3600
    parsed = playing._parser().parse_args(["quay", "--begin", "2027-02-06T23:00+01:00"])
    assert parsed.begin == BEGINS
    assert demo.EVENING < BEGINS
