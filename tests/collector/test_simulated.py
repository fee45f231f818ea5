"""The simulated controllers, over real SSH on loopback."""

from __future__ import annotations

import json
import logging
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path

import asyncssh
import paramiko
import pytest

from collector import recording, simulated
from collector.capture import Capture, Ending
from collector.simulated import ADDRESS, LIMITED_SHELL, Behaviour, Credentials, Fleet
from collector.simulated_shell import Answers
from tests.collector.simulated_client import Terminal, connected, logged_in, wait_until

LONG = "".join(f"row {number}\n" for number in range(1, 61))
DIRECTORY = "Directory of bootflash:/\n\n  11  -rw-  4096  a.bin\n\n26458804224 bytes total (19503411200 bytes free)\n"
STATE = "Current Software state"
REFUSED = "% Invalid input detected at '^' marker."


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    own = tmp_path / "quay-a"
    own.mkdir()
    (own / "show_version.txt").write_text(LONG)
    (own / "dir_bootflash.txt").write_text(DIRECTORY)
    (own / "show_redundancy.txt").write_text(
        "   Current Software state = ACTIVE\n   Current Software state = STANDBY HOT\n"
    )
    return own


@contextmanager
def served(folder: Path, behaviour: Behaviour | None = None, secret: str | None = None) -> Iterator[Fleet]:
    credentials = Credentials("harbour", "tide and time", secret)
    with simulated.fleet({"quay-a": folder}, {"quay-a": behaviour or Behaviour()}, credentials) as fleet:
        yield fleet


@contextmanager
def terminal(folder: Path, behaviour: Behaviour | None = None, prompt: str = "quay-a#") -> Iterator[Terminal]:
    with served(folder, behaviour) as fleet, logged_in(fleet, "quay-a") as shell:
        assert shell.read_to(prompt) == f"\r\n{prompt}"
        yield shell


def shown(text: str) -> str:
    """A recording as it comes over the wire."""
    return text.replace("\n", "\r\n")


def test_answers_with_the_recording_between_the_echo_and_the_prompt(folder: Path) -> None:
    with terminal(folder) as shell:
        assert shell.say("dir bootflash:\n", "quay-a#") == shown(f"dir bootflash:\n{DIRECTORY}quay-a#")


def test_matches_whatever_the_case_and_the_spacing(folder: Path) -> None:
    with terminal(folder) as shell:
        assert shell.say("  DIR   BootFlash: \r", "quay-a#") == shown(f"  DIR   BootFlash: \n{DIRECTORY}quay-a#")


def test_a_return_with_a_line_feed_counts_once(folder: Path) -> None:
    with terminal(folder) as shell:
        assert shell.say("\r\n\n", "#\r\nquay-a#") == "\r\nquay-a#\r\nquay-a#"


def test_stops_for_a_key_after_each_page(folder: Path) -> None:
    with terminal(folder) as shell:
        first = shell.say("show version\r", " --More-- ")
        assert first.count("row ") == 23
        second = shell.say(" ", " --More-- ")
        assert second.startswith("\b" * 10 + " " * 10 + "\b" * 10 + "row 24\r\n")
        assert second.count("row ") == 23
        assert shell.say("\r", " --More-- ").count("row ") == 1
        assert "row" not in shell.say("q", "quay-a#")


def test_stops_no_more_once_paging_is_off_and_again_after_so_many_lines(folder: Path) -> None:
    with terminal(folder) as shell:
        assert shell.say("terminal length 0\r", "quay-a#") == "terminal length 0\r\nquay-a#"
        assert shell.say("terminal width 511\r", "quay-a#") == "terminal width 511\r\nquay-a#"
        assert shell.say("show version\r", "quay-a#") == shown(f"show version\n{LONG}quay-a#")
        shell.say("terminal length 10\r", "quay-a#")
        assert shell.say("show version\r", " --More-- ").count("row ") == 9


def test_pages_nothing_where_it_is_switched_off(folder: Path) -> None:
    with terminal(folder, Behaviour(paging=False)) as shell:
        assert shell.say("show version\r", "quay-a#").count("row ") == 60


def test_include_keeps_the_lines_that_the_expression_finds(folder: Path) -> None:
    with terminal(folder) as shell:
        assert shell.say("show version | include ^row [12]$\r", "quay-a#") == (
            "show version | include ^row [12]$\r\nrow 1\r\nrow 2\r\nquay-a#"
        )
        assert shell.say("dir bootflash: | include free\r", "quay-a#").splitlines()[1:-1] == [
            "26458804224 bytes total (19503411200 bytes free)"
        ]
        assert REFUSED in shell.say("show version | include (\r", "quay-a#")


@pytest.mark.parametrize(
    ("typed", "column"),
    [
        ("configure terminal", 0),
        ("show harbour", 5),
        ("show romvar", 5),
        ("show.version", 0),
        ("show version; reload", 5),
        ("../quay-a/show_version", 0),
        ("write memory", 0),
    ],
)
def test_refuses_what_it_does_not_know_or_has_no_recording_of(folder: Path, typed: str, column: int) -> None:
    with terminal(folder) as shell:
        lines = shell.say(f"{typed}\r", "quay-a#").split("\r\n")
        assert lines == [typed, " " * (len("quay-a#") + column) + "^", REFUSED, "", "quay-a#"]


def test_a_recorded_refusal_is_served_as_it_is(folder: Path) -> None:
    (folder / "show_boot.txt").write_text("Command authorization failed.\n")
    with terminal(folder) as shell:
        assert shell.say("show boot\r", "quay-a#") == "show boot\r\nCommand authorization failed.\r\nquay-a#"


def test_serves_a_recording_that_the_catalogue_has_no_row_for(folder: Path) -> None:
    (folder / "show_tides.txt").write_text("High water 04:12\n")
    with terminal(folder) as shell:
        assert "High water 04:12" in shell.say("show tides\r", "quay-a#")


def test_bytes_that_are_no_text_and_line_ends_survive(folder: Path) -> None:
    (folder / "show_boot.txt").write_bytes(b"one\r\ntwo \xff\xfe\nthree")
    with terminal(folder) as shell:
        text = shell.say("show boot\r", "quay-a#")
        assert text.encode("utf-8", "surrogateescape") == b"show boot\r\none\r\ntwo \xff\xfe\r\nthree\r\nquay-a#"


def test_the_prompt_is_a_standbys_where_the_state_that_comes_first_is(folder: Path) -> None:
    (folder / "show_redundancy.txt").write_text(
        "Current Software state = STANDBY HOT\nCurrent Software state = ACTIVE\n"
    )
    with terminal(folder, prompt="quay-a-stby#"):
        pass
    with terminal(folder, Behaviour(standby=False)):
        pass
    with terminal(folder, Behaviour(name="north-mole"), prompt="north-mole#"):
        pass


def test_greets(folder: Path) -> None:
    with served(folder, Behaviour(greeting="## Harbour #1 >")) as fleet, logged_in(fleet, "quay-a") as shell:
        assert shell.read_to("quay-a#") == "## Harbour #1 >\r\n\r\nquay-a#"


def test_backspace_and_giving_up_a_line(folder: Path) -> None:
    with served(folder) as fleet, logged_in(fleet, "quay-a") as shell:
        shell.read_to("quay-a#")
        shell.say("reload\x15dir bootfish\b\b\b\x7fflash:\r", "quay-a#")
        assert fleet.received("quay-a") == ["dir bootflash:"]


def test_user_level_runs_little_until_the_secret_was_right(folder: Path) -> None:
    with served(folder, Behaviour(user_level=True), "low tide") as fleet, logged_in(fleet, "quay-a") as shell:
        shell.read_to("\r\nquay-a>")
        assert REFUSED in shell.say("dir bootflash:\r", "quay-a>")
        assert shell.say("enable\r", "Password: ") == "enable\r\nPassword: "
        assert shell.say("guess\r", "Password: ") == "\r\nPassword: "
        shell.say("guess\r", "Password: ")
        assert "% Bad secrets" in shell.say("guess\r", "quay-a>")
        shell.say("enable\r", "Password: ")
        assert shell.say("low tide\r", "#") == "\r\nquay-a#"
        assert "bytes free" in shell.say("dir bootflash:\r", "quay-a#")
        assert "low tide" not in str(fleet.log)
        assert fleet.received("quay-a").count("********") == 4


def test_enable_without_a_secret(folder: Path) -> None:
    with terminal(folder, Behaviour(user_level=True), "quay-a>") as shell:
        assert shell.say("enable\r", "#") == "enable\r\nquay-a#"


def test_a_limited_shell_runs_what_it_is_left_with(folder: Path) -> None:
    with terminal(folder, Behaviour(only=LIMITED_SHELL)) as shell:
        assert REFUSED in shell.say("dir bootflash:\r", "quay-a#")
        assert "ACTIVE" in shell.say("show redundancy\r", "quay-a#")


def test_exit_ends_the_connection(folder: Path) -> None:
    with served(folder) as fleet, connected(fleet, "quay-a") as client:
        shell = Terminal(client.invoke_shell())
        shell.say("", "quay-a#")
        shell.channel.sendall(b"exit\r")
        assert shell.read_all() == "exit\r\n"
        assert shell.channel.recv_exit_status() == 0
        transport = client.get_transport()
        assert transport is not None
        wait_until(lambda: not transport.is_active())


def test_the_end_of_the_fleet_ends_its_sessions(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    with ExitStack() as later:
        with served(folder) as fleet:
            shell = later.enter_context(logged_in(fleet, "quay-a"))
            shell.read_to("quay-a#")
        assert shell.read_all() == ""
    complaints = [record for record in caplog.records if record.name == "asyncio" and record.levelno > logging.INFO]
    assert complaints == []


def test_one_command_without_a_shell(folder: Path) -> None:
    with served(folder) as fleet, connected(fleet, "quay-a") as client:
        _, output, _ = client.exec_command("show version")
        assert output.read().decode() == shown(LONG)
        assert fleet.received("quay-a") == ["show version"]


def test_logs_every_line_with_member_and_time_and_for_the_owner_only(folder: Path, tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    with simulated.fleet({"quay-a": folder, "quay-b": folder}, log_file=log) as fleet:
        for member in ("quay-a", "quay-b"):
            with logged_in(fleet, member) as shell:
                shell.read_to(f"{member}#")
                shell.say(f"show  {member}\r", f"{member}#")
        assert [(entry.member, entry.line) for entry in fleet.log] == [
            ("quay-a", "show  quay-a"),
            ("quay-b", "show  quay-b"),
        ]
        assert fleet.received("quay-b") == ["show  quay-b"]
        rows = [json.loads(line) for line in log.read_text().splitlines()]
        assert [(row["member"], row["line"], row["at"]) for row in rows] == [
            (entry.member, entry.line, entry.at.isoformat()) for entry in fleet.log
        ]
    assert stat.S_IMODE(log.stat().st_mode) == 0o600


def test_the_answer_waits_for_the_latency_but_the_echo_does_not(folder: Path) -> None:
    with terminal(folder, Behaviour(latency=0.3)) as shell:
        asked = time.monotonic()
        assert shell.say("dir bootflash:\r", "dir bootflash:\r\n") == "dir bootflash:\r\n"
        shell.read_to("quay-a#")
        # Not earlier than this; how much later depends on the machine and is not looked at.
        assert time.monotonic() - asked >= 0.3


@pytest.mark.parametrize("command", ["show version", None])
def test_drops_the_connection_in_the_middle_of_an_answer_so_many_times(folder: Path, command: str | None) -> None:
    with served(folder, Behaviour(paging=False, cuts=2, cut_command=command)) as fleet:
        for _ in range(2):
            with logged_in(fleet, "quay-a") as shell:
                shell.read_to("quay-a#")
                if command:
                    shell.say("dir bootflash:\r", "quay-a#")
                shell.channel.sendall(b"show version\r")
                assert shell.read_all() == "show version\r\n" + shown(LONG[: len(LONG) // 2])
                # A dropped connection says no farewell: there is no exit status.
                assert shell.channel.recv_exit_status() == -1
        with logged_in(fleet, "quay-a") as shell:
            shell.read_to("quay-a#")
            assert "row 60" in shell.say("show version\r", "quay-a#")


FILTERED = "show version | include ^row [12]$"


def test_a_command_with_a_filter_switches_over(folder: Path) -> None:
    with terminal(folder, Behaviour(switches_over_at=FILTERED)) as shell:
        assert shell.say(f"{FILTERED}\r", "quay-a-stby#").endswith("\r\nrow 1\r\nrow 2\r\nquay-a-stby#")


def test_a_command_with_a_filter_is_flooded(folder: Path) -> None:
    with terminal(folder, Behaviour(paging=False, flood_command=FILTERED, flood_bytes=12)) as shell:
        assert shell.say(f"{FILTERED}\r", "quay-a#").count("row 1\r\nrow 2\r\n") == 2


def test_a_command_with_a_filter_is_cut_and_without_it_is_not(folder: Path) -> None:
    behaviour = Behaviour(paging=False, cuts=1, cut_command=FILTERED, switches_over_at=FILTERED)
    with served(folder, behaviour) as fleet:
        with logged_in(fleet, "quay-a") as shell:
            shell.read_to("quay-a#")
            assert "row 60" in shell.say("show version\r", "quay-a#")
            shell.channel.sendall(f"{FILTERED}\r".encode())
            assert shell.read_all() == f"{FILTERED}\r\nrow 1\r\n"
        with logged_in(fleet, "quay-a") as shell:
            shell.read_to("quay-a-stby#")


@pytest.mark.parametrize("behaviour", [Behaviour(silent=["show version"]), Behaviour(silent_after_login=True)])
def test_says_nothing_but_hears_everything(folder: Path, behaviour: Behaviour) -> None:
    with served(folder, behaviour) as fleet, logged_in(fleet, "quay-a") as shell:
        shell.channel.sendall(b"show version\rdir bootflash:\r")
        wait_until(lambda: fleet.received("quay-a") == ["show version", "dir bootflash:"])
        seen = "" if behaviour.silent_after_login else shell.read_to("show version\r\n")
        assert "row" not in seen
        assert not shell.channel.recv_ready()


def test_a_recording_that_was_cut_off_never_comes_to_its_prompt(tmp_path: Path) -> None:
    own = recording.write(tmp_path, "quay-a", [Capture("quay-a", "show version", "row 1\nro", Ending.CUT_OFF)])
    with served(own) as fleet, logged_in(fleet, "quay-a") as shell:
        shell.read_to("quay-a#")
        assert shell.say("show version\r", "row 1\r\nro") == "show version\r\nrow 1\r\nro"
        shell.channel.sendall(b"\r")
        wait_until(lambda: len(fleet.received("quay-a")) == 2)
        assert not shell.channel.recv_ready()


def test_refuses_wrong_passwords_and_all_where_it_is_told_to(folder: Path) -> None:
    with served(folder) as fleet, pytest.raises(paramiko.AuthenticationException), connected(fleet, "quay-a", "wrong"):
        pass
    with (
        served(folder, Behaviour(refuse_authentication=True)) as fleet,
        pytest.raises(paramiko.AuthenticationException),
        connected(fleet, "quay-a"),
    ):
        pass


def test_lets_in_with_the_public_key_and_no_other(folder: Path, tmp_path: Path) -> None:
    right, wrong = (asyncssh.generate_private_key("ssh-ed25519") for _ in range(2))
    public = right.export_public_key().decode()
    credentials = Credentials("harbour", "tide and time", public_key=public)
    with simulated.fleet({"quay-a": folder}, credentials=credentials) as fleet, paramiko.SSHClient() as client:
        client.set_missing_host_key_policy(paramiko.AutoAddPolicy())
        for key, name in ((wrong, "wrong"), (right, "right")):
            (tmp_path / name).write_bytes(key.export_private_key())
        log_in: Callable[[str], None] = lambda name: client.connect(  # noqa: E731
            ADDRESS, fleet.ports["quay-a"], "harbour", key_filename=str(tmp_path / name), allow_agent=False
        )
        with pytest.raises(paramiko.AuthenticationException):
            log_in("wrong")
        log_in("right")
        shell = Terminal(client.invoke_shell())
        shell.read_to("quay-a#")


def test_nothing_listens_where_it_is_unreachable_and_nobody_else_can(folder: Path) -> None:
    with served(folder, Behaviour(unreachable=True)) as fleet:
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((ADDRESS, fleet.ports["quay-a"]), timeout=10)
        with socket.socket() as other:
            other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with pytest.raises(OSError, match="in use"):
                other.bind((ADDRESS, fleet.ports["quay-a"]))


def test_ports_from_a_base_on_and_free_again_afterwards(folder: Path) -> None:
    with socket.socket() as probe:
        probe.bind((ADDRESS, 0))
        base = probe.getsockname()[1]
    for _ in range(2):
        with simulated.fleet({"quay-a": folder}, port_base=base) as fleet:
            assert fleet.ports == {"quay-a": base}
            with pytest.raises(OSError, match="in use"), simulated.fleet({"quay-b": folder}, port_base=base):
                pass


def test_credentials_differ_from_run_to_run_and_are_not_shown() -> None:
    first, second = Credentials.random(), Credentials.random()
    assert first.password != second.password
    assert first.secret
    assert first.password not in repr(first)
    assert first.secret not in repr(first)


def test_holds_a_hundred_members_and_forty_connections_at_once(folder: Path) -> None:
    members = {f"quay-{number}": folder for number in range(100)}
    with simulated.fleet(members) as fleet, ThreadPoolExecutor(40) as pool:

        def ask(member: str) -> str:
            with logged_in(fleet, member) as shell:
                shell.read_to(f"{member}#")
                # All forty are in before the first is asked.
                inside.append(member)
                wait_until(lambda: len(inside) == 40)
                return shell.say("dir bootflash:\r", f"{member}#")

        inside: list[str] = []
        answers = list(pool.map(ask, list(members)[:40]))
        assert len({*fleet.known_hosts_text().split()[2::3]}) == 100
    assert all("bytes free" in answer for answer in answers)


def test_an_answer_of_many_megabytes_arrives_whole(folder: Path) -> None:
    text = LONG * 20000
    (folder / "show_ap_summary.txt").write_text(text)
    with terminal(folder, Behaviour(paging=False)) as shell:
        assert shell.say("show ap summary\r", "quay-a#") == shown(f"show ap summary\n{text}quay-a#")


@pytest.mark.parametrize("as_json", [False, True])
def test_serves_in_a_process_of_its_own_until_interrupted(folder: Path, tmp_path: Path, as_json: bool) -> None:
    known = tmp_path / "known_hosts"
    process = subprocess.Popen(
        [sys.executable, "-m", "collector.simulated", str(folder.parent), "--known-hosts", str(known)]
        + ["--json"] * as_json,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "READYPAIR_USERNAME": "harbour", "READYPAIR_PASSWORD": "tide and time"},
        cwd=Path(__file__).parents[2],
    )
    try:
        assert process.stdout
        line = process.stdout.readline()
        port = json.loads(line)["quay-a"] if as_json else int(line.rsplit(" ", 1)[1].rstrip("}\n"))
        with paramiko.SSHClient() as client:
            client.load_host_keys(str(known))
            client.connect(ADDRESS, port, "harbour", "tide and time", look_for_keys=False, allow_agent=False)
            Terminal(client.invoke_shell()).read_to("quay-a#")
    finally:
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
    assert process.returncode == 0
    assert errors == ""


def test_says_in_a_sentence_what_is_wrong_with_the_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert simulated.main([str(tmp_path / "nowhere")]) == 2
    assert "there is no such folder" in capsys.readouterr().err


def test_a_recorded_clock_goes_on(tmp_path: Path) -> None:
    (tmp_path / "show_clock.txt").write_text("\n*23:59:59.500 CET Fri Feb 5 2027\n")
    answers = Answers(tmp_path, began=time.monotonic() - 3600)
    shown = answers.capture("show clock")
    assert shown is not None
    assert re.fullmatch(r"\n\*00:(59:59|00:00|00:01)\.\d{3} CET Sat Feb 6 2027\n", shown.text), shown.text
