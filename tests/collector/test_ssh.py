"""The session, over real SSH on loopback. What was received is read from the simulated controller's own log."""

from __future__ import annotations

import asyncio
import logging
import os
import queue
import select
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path
from pkgutil import resolve_name
from typing import Any

import pytest
from pytest_mock import MockerFixture

from collector import simulated_shell
from collector.capture import Ending
from collector.credentials import Credentials
from collector.dialogue import NotInCatalogue
from collector.simulated import ADDRESS, Behaviour, Fleet
from collector.ssh import NotReached, SshSession
from parsers.catalogue import Command, asked
from parsers.facts.core import Facts
from tests.collector.sessions import LET_IN, MEMBER, SETTINGS, TEXTS, command, controller, logged_in

QUICK = 0.01
PATIENCE = 60.0


def on_wire(text: str) -> str:
    """How a terminal ends lines."""
    return text.replace("\n", "\r\n")


# What is asked and answered


def test_answers_are_captured_exactly_as_printed(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        captures = {text: member.ask(command(text)) for text in TEXTS}
    assert {text: capture.text for text, capture in captures.items()} == {t: on_wire(x) for t, x in TEXTS.items()}
    for capture in captures.values():
        assert (capture.member, capture.ending, capture.reason) == (MEMBER, Ending.COMPLETE, "")
        assert capture.started is not None
        assert capture.started.tzinfo is not None
        assert capture.seconds is not None


def test_a_refusal_is_an_answer(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        capture = member.ask(command("show ap summary"))
    assert capture.ending is Ending.COMPLETE
    assert "% Invalid input detected" in capture.text


def test_only_commands_of_the_catalogue_and_terminal_settings_are_received(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        for row in asked():
            member.ask(row)
        received = fleet.received(MEMBER)
    assert received == [*SETTINGS, *(row.text for row in asked())]


@pytest.mark.parametrize(
    "text",
    [
        "configure terminal",
        "reload",
        "",
        "show version\nreload",
        "show version\r",
        "show\nversion",
        "show version\x03",
        "show  version",
        "SHOW VERSION",
        " show version",
        "show version ",
        "show version | redirect bootflash:x",
        "show chassis",
        "terminal length 0",
        "enable",
        "show versioñ",
    ],
)
def test_nothing_else_is_ever_sent(tmp_path: Path, text: str) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        with pytest.raises(NotInCatalogue):
            member.ask(Command(text, "version", Facts))
        assert member.ask(command("show boot")).text == on_wire(TEXTS["show boot"])
        assert fleet.received(MEMBER) == [*SETTINGS, "show boot"]


# Prompts and banners

BANNER = """
##################################################
#  Authorised staff only   >>> quay-a# <<<       #
##################################################
quay-b#
duty>
router>show version
--More--
Password:
quay-a#"""


@pytest.mark.parametrize("banner", [BANNER, "#" * 5000, "notice>", "\n".join(["host#", "host>"] * 400)])
def test_a_banner_is_never_taken_for_the_prompt(tmp_path: Path, banner: str) -> None:
    with controller(tmp_path, Behaviour(greeting=banner)) as fleet, logged_in(fleet, tmp_path) as member:
        assert [member.ask(command(text)).text for text in TEXTS] == [on_wire(text) for text in TEXTS.values()]


@pytest.mark.parametrize("name", ["quay-a-stby", "WLC_9.site/1", "a", "x" * 63])
def test_prompts_of_every_name_are_learned(tmp_path: Path, name: str) -> None:
    with controller(tmp_path, Behaviour(name=name)) as fleet, logged_in(fleet, tmp_path) as member:
        assert member.ask(command("show version")).text == on_wire(TEXTS["show version"])


def renaming(monkeypatch: pytest.MonkeyPatch, at: str, name: str) -> None:
    obey = simulated_shell.Shell.obey

    async def obey_and_switch(self: simulated_shell.Shell, typed: str) -> None:
        await obey(self, typed)
        if typed == at:
            self.name = name

    monkeypatch.setattr(simulated_shell.Shell, "obey", obey_and_switch)


@pytest.mark.parametrize(("before", "after"), [("quay-a-stby", "quay-a"), ("quay-a", "quay-a-stby")])
def test_a_switchover_between_commands_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: str, after: str
) -> None:
    renaming(monkeypatch, "show version", after)
    with controller(tmp_path, Behaviour(name=before)) as fleet, logged_in(fleet, tmp_path) as member:
        boot, version, romvar = (member.ask(command(text)) for text in ("show boot", "show version", "show romvar"))
        assert fleet.received(MEMBER) == [*SETTINGS, "show boot", "show version", "show romvar"]
    assert boot.ending is romvar.ending is Ending.COMPLETE
    assert version.ending is Ending.CUT_OFF
    assert version.reason.endswith(f"its prompt {before}# became {after}#")
    assert version.text == on_wire(TEXTS["show version"])
    assert romvar.text == on_wire(TEXTS["show romvar"])


def test_output_that_holds_prompts_ends_nothing(tmp_path: Path) -> None:
    text = "quay-a#show version\nquay-a#\nquay-a# \nquay-a>\n#\n>\nquay-a#more\n"
    with controller(tmp_path, texts={"show version": text}) as fleet, logged_in(fleet, tmp_path) as member:
        assert member.ask(command("show version")).text == on_wire(text)


# What goes wrong while a command is answered


def test_a_command_that_hangs_costs_itself_only(tmp_path: Path) -> None:
    behaviour = Behaviour(silent=["show boot"])
    with controller(tmp_path, behaviour) as fleet, logged_in(fleet, tmp_path, patience=QUICK) as member:
        version, boot, romvar = (member.ask(command(text)) for text in ("show version", "show boot", "show romvar"))
    assert version.ending is romvar.ending is Ending.COMPLETE
    assert (boot.ending, boot.reason) == (Ending.MISSING, "no whole answer within 0.3 s")
    assert romvar.text == on_wire(TEXTS["show romvar"])


def test_a_late_answer_is_not_taken_for_the_next_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    late = asyncio.Event()
    obey = simulated_shell.Shell.obey

    async def obey_late(self: simulated_shell.Shell, typed: str) -> None:
        if typed == "show version":
            self.terminal.print("Version")
            await self.terminal.flush()
            await late.wait()
        if typed == "show boot":
            late.set()
            await asyncio.sleep(0.05)
        await obey(self, typed)

    monkeypatch.setattr(simulated_shell.Shell, "obey", obey_late)
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path, patience=QUICK) as member:
        version, boot = member.ask(command("show version")), member.ask(command("show boot"))
        sessions = fleet.received(MEMBER).count(SETTINGS[0])
    assert (version.ending, version.text) == (Ending.CUT_OFF, "Version")
    assert version.reason == "no whole answer within 0.3 s"
    assert (boot.ending, boot.text) == (Ending.COMPLETE, on_wire(TEXTS["show boot"]))
    assert sessions == 2


def test_a_controller_that_leaves_three_commands_in_a_row_is_asked_no_more(tmp_path: Path) -> None:
    silent = [row.text for row in asked()]
    with controller(tmp_path, Behaviour(silent=silent)) as fleet, logged_in(fleet, tmp_path, patience=QUICK) as member:
        captures = [member.ask(row) for row in asked()]
        received = [line for line in fleet.received(MEMBER) if line not in SETTINGS]
    assert received == [row.text for row in asked()[:3]]
    assert {capture.ending for capture in captures} == {Ending.MISSING}
    assert [capture.reason for capture in captures[2:4]] == [
        "no whole answer within 0.3 s",
        "it answered none of three commands in a row: no whole answer within 0.3 s",
    ]


def test_answers_given_in_another_role_are_taken_back(tmp_path: Path) -> None:
    behaviour = Behaviour(cuts=1, cut_command="show romvar", switches_over_at="show romvar")
    with controller(tmp_path, behaviour) as fleet, logged_in(fleet, tmp_path) as member:
        assert [member.ask(command(text)).ending for text in TEXTS] == [Ending.COMPLETE] * 3
        why = "the controller changed its role while it answered: its prompt quay-a# became quay-a-stby#"
        assert member.doubted() == {"show version": why, "show boot": why}


def test_a_settled_session_doubts_nothing(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        assert member.doubted() == {}
        member.ask(command("show boot"))
        assert member.doubted() == {}
        assert fleet.received(MEMBER) == [*SETTINGS, "show boot", SETTINGS[0]]


def test_a_lost_session_is_taken_up_once_and_the_command_asked_again(tmp_path: Path) -> None:
    with controller(tmp_path, Behaviour(cuts=1)) as fleet, logged_in(fleet, tmp_path) as member:
        captures = [member.ask(command(text)) for text in TEXTS]
        received = fleet.received(MEMBER)
    assert [capture.text for capture in captures] == [on_wire(text) for text in TEXTS.values()]
    assert received == [*SETTINGS, "show version", *SETTINGS, *TEXTS]


def test_a_session_lost_twice_leaves_the_rest_missing(tmp_path: Path) -> None:
    behaviour = Behaviour(cuts=2, cut_command="show romvar")
    with controller(tmp_path, behaviour) as fleet, logged_in(fleet, tmp_path) as member:
        version, romvar, boot = (member.ask(command(text)) for text in ("show version", "show romvar", "show boot"))
        asked_for = fleet.received(MEMBER)
    assert version.ending is Ending.COMPLETE
    assert (romvar.ending, romvar.reason) == (Ending.CUT_OFF, "the session was lost twice")
    assert on_wire(TEXTS["show romvar"]).startswith(romvar.text)
    assert (boot.ending, boot.reason, boot.text) == (Ending.MISSING, "the session was lost twice", "")
    assert "show boot" not in asked_for


def test_a_session_that_is_not_to_be_had_again_says_so(tmp_path: Path) -> None:
    behaviour = Behaviour(silent=["show version"])
    with controller(tmp_path, behaviour) as fleet, logged_in(fleet, tmp_path, patience=QUICK) as member:
        member.ask(command("show version"))
        (tmp_path / "known_hosts").write_text("")
        boot = member.ask(command("show boot"))
    assert boot.ending is Ending.MISSING
    assert boot.reason.startswith("the session had ended and was not to be had again: ")
    assert "its host key isn't known: run `readypair trust`" in boot.reason


def test_a_pager_that_stays_on_cuts_the_answer_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    obey = simulated_shell.Shell.obey

    async def obey_all_but_settings(self: simulated_shell.Shell, typed: str) -> None:
        if not typed.startswith("terminal"):
            await obey(self, typed)

    monkeypatch.setattr(simulated_shell.Shell, "obey", obey_all_but_settings)
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        romvar, boot = member.ask(command("show romvar")), member.ask(command("show boot"))
        received = fleet.received(MEMBER)
    assert (romvar.ending, romvar.reason) == (Ending.CUT_OFF, "the pager could not be turned off")
    assert romvar.text.startswith("VARIABLE_0 = 0\r\n")
    assert (boot.ending, boot.text) == (Ending.COMPLETE, on_wire(TEXTS["show boot"]))
    assert set(received) == {*SETTINGS, "show romvar", "show boot"}


def test_a_line_that_looks_like_the_pagers_is_no_pager(tmp_path: Path) -> None:
    text = "first\n --More-- \nlast\n"
    with controller(tmp_path, texts={"show version": text}) as fleet, logged_in(fleet, tmp_path) as member:
        assert member.ask(command("show version")).text == on_wire(text)


def test_an_endless_answer_is_cut_off(tmp_path: Path) -> None:
    texts = {**TEXTS, "show romvar": "x" * 3_000_000}
    with controller(tmp_path, texts=texts) as fleet, logged_in(fleet, tmp_path, most_bytes=2_000_000) as member:
        romvar, boot = member.ask(command("show romvar")), member.ask(command("show boot"))
    assert (romvar.ending, romvar.reason) == (Ending.CUT_OFF, "the answer is longer than 2 MB")
    assert boot.text == on_wire(TEXTS["show boot"])


def test_an_answer_of_thousands_of_rows_comes_whole(tmp_path: Path) -> None:
    text = "".join(f"ap-{number:06}   2   WX-AP20   Registered\n" for number in range(60_000))
    with controller(tmp_path, texts={"show ap summary": text}) as fleet, logged_in(fleet, tmp_path) as member:
        capture = member.ask(command("show ap summary"))
    assert (capture.ending, capture.text) == (Ending.COMPLETE, on_wire(text))


def test_bytes_that_are_no_text_survive(tmp_path: Path) -> None:
    raw = b"location \xff\xfe caf\xe9 \xc3\xa9 \x00 \x1b[0m\x08\n"
    with controller(tmp_path, texts={"show version": raw}) as fleet, logged_in(fleet, tmp_path) as member:
        capture = member.ask(command("show version"))
    assert capture.text.encode("utf-8", "surrogateescape") == raw.replace(b"\n", b"\r\n")


def test_a_closed_session_answers_nothing(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        member.close()
        capture = member.ask(command("show version"))
        assert fleet.received(MEMBER) == SETTINGS
    assert (capture.ending, capture.reason) == (Ending.MISSING, "the session was closed")


# The level after login


def test_at_user_level_the_enable_secret_is_given_where_it_is_asked_for(tmp_path: Path) -> None:
    credentials = Credentials(LET_IN.username, LET_IN.password, LET_IN.secret)
    with (
        controller(tmp_path, Behaviour(user_level=True)) as fleet,
        logged_in(fleet, tmp_path, credentials=credentials) as member,
    ):
        assert member.ask(command("show boot")).text == on_wire(TEXTS["show boot"])
        assert fleet.received(MEMBER) == [*SETTINGS, "enable", "********", "show boot"]


def test_without_a_secret_the_session_stays_at_user_level(tmp_path: Path) -> None:
    with controller(tmp_path, Behaviour(user_level=True)) as fleet, logged_in(fleet, tmp_path) as member:
        assert member.ask(command("show version")).text == on_wire(TEXTS["show version"])
        assert "% Invalid input" in member.ask(command("show boot")).text
        assert "enable" not in fleet.received(MEMBER)


def test_a_privileged_account_needs_no_secret(tmp_path: Path) -> None:
    credentials = Credentials(LET_IN.username, LET_IN.password, "never asked for")
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path, credentials=credentials):
        assert fleet.received(MEMBER) == SETTINGS


def test_a_refused_enable_secret_is_said(tmp_path: Path) -> None:
    credentials = Credentials(LET_IN.username, LET_IN.password, "not-the-secret")
    with (
        controller(tmp_path, Behaviour(user_level=True)) as fleet,
        pytest.raises(NotReached, match="the enable secret in READYPAIR_SECRET was refused") as caught,
        logged_in(fleet, tmp_path, credentials=credentials),
    ):
        pass
    assert "not-the-secret" not in str(caught.value)
    assert fleet.received(MEMBER).count("********") == 1


# No session at all


def test_host_keys_that_are_not_known_are_refused(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet:
        (tmp_path / "known_hosts").unlink()
        with pytest.raises(NotReached, match="its host key isn't known: run `readypair trust`"):
            logged_in(fleet, tmp_path).__enter__()
        assert fleet.received(MEMBER) == []


def test_a_host_key_that_has_changed_is_refused(tmp_path: Path) -> None:
    with controller(tmp_path) as old:
        line = old.known_hosts_text().split()
    with controller(tmp_path) as fleet:
        (tmp_path / "known_hosts").write_text(f"[{ADDRESS}]:{fleet.ports[MEMBER]} {line[1]} {line[2]}\n")
        with pytest.raises(NotReached, match="its host key has changed"):
            logged_in(fleet, tmp_path).__enter__()
        assert fleet.received(MEMBER) == []


def test_a_revoked_host_key_is_refused(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet:
        line = fleet.known_hosts_text()
        (tmp_path / "known_hosts").write_text(f"{line}@revoked * {' '.join(line.split()[1:])}\n")
        with pytest.raises(NotReached, match="is marked as revoked"):
            logged_in(fleet, tmp_path).__enter__()


def test_a_member_without_a_listener_is_told(tmp_path: Path) -> None:
    with controller(tmp_path, Behaviour(unreachable=True)) as fleet:
        port = fleet.ports[MEMBER]
        with pytest.raises(NotReached, match=f"^nothing listens at {ADDRESS}:{port}$"):
            logged_in(fleet, tmp_path).__enter__()


@pytest.mark.parametrize("connect_seconds", [0.2, 1])
def test_a_port_that_never_speaks_costs_its_time_limit(tmp_path: Path, connect_seconds: float) -> None:
    seconds: dict[str, Any] = {"greeting_seconds": 0.3, "connect_seconds": connect_seconds}
    said = rf"^{ADDRESS}:\d+ took the connection and said nothing within 0\.3 s$"
    with controller(tmp_path) as fleet, socket.create_server((ADDRESS, 0)) as mute:
        port = mute.getsockname()[1]
        with pytest.raises(NotReached, match=said):
            logged_in(fleet, tmp_path, port=port, **seconds).__enter__()


def test_a_port_that_hangs_up_is_not_taken_for_silent(tmp_path: Path) -> None:
    def hang_up() -> None:
        mute.accept()[0].close()

    with controller(tmp_path) as fleet, socket.create_server((ADDRESS, 0)) as mute:
        threading.Thread(target=hang_up, daemon=True).start()
        with pytest.raises(NotReached, match="broke off while the session was being made"):
            logged_in(fleet, tmp_path, port=mute.getsockname()[1], greeting_seconds=5).__enter__()


def test_a_controller_that_prints_no_prompt_is_told(tmp_path: Path) -> None:
    with (
        controller(tmp_path, Behaviour(silent_after_login=True)) as fleet,
        pytest.raises(NotReached, match=r"no prompt within 0\.2 s after the login"),
    ):
        logged_in(fleet, tmp_path, prompt_seconds=0.2).__enter__()


@pytest.mark.parametrize(
    ("platform", "said"),
    [(None, "doesn't say its platform"), ("nonsense", "no driver for the platform 'nonsense'")],
)
def test_a_platform_that_is_none_is_told(tmp_path: Path, platform: str | None, said: str) -> None:
    with controller(tmp_path) as fleet, pytest.raises(NotReached, match=said):
        logged_in(fleet, tmp_path, platform=platform).__enter__()


def test_an_option_that_means_nothing_is_told(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, pytest.raises(NotReached, match=r"keys that mean nothing: \['pateince'\]"):
        logged_in(fleet, tmp_path, pateince=2).__enter__()


# Given up while it is being opened

# It tells in a pipe of its own when nothing but a kill ends it any more.
STUBBORN = (
    'import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); print(file=open("{ready}", "w")); signal.pause()'
)


@pytest.mark.parametrize(
    ("behaviour", "reached"),
    [
        (Behaviour(silent_at_login=True), "paramiko.Transport.auth_password"),
        (Behaviour(silent_after_login=True), "collector.dialogue.Dialogue.begin"),
    ],
)
def test_a_login_that_hangs_ends_with_its_session(
    behaviour: Behaviour, reached: str, tmp_path: Path, mocker: MockerFixture
) -> None:
    session, there = SshSession(), threading.Event()
    owner, _, name = reached.rpartition(".")
    real = getattr(resolve_name(owner), name)

    def tell(*given: Any, **named: Any) -> Any:
        there.set()
        return real(*given, **named)

    mocker.patch(reached, tell)
    with controller(tmp_path, behaviour) as fleet:
        said = logging_in(fleet, tmp_path, session)
        assert there.wait(PATIENCE)
        session.close()
        assert said.get(timeout=PATIENCE)


def test_a_port_that_says_nothing_is_left_with_the_session(tmp_path: Path) -> None:
    session = SshSession()
    with controller(tmp_path) as fleet, socket.create_server((ADDRESS, 0)) as mute:
        mute.settimeout(PATIENCE)
        said = logging_in(fleet, tmp_path, session, port=mute.getsockname()[1])
        connected, _ = mute.accept()
        with connected:
            session.close()
            assert said.get(timeout=PATIENCE)


def test_a_jump_host_that_will_not_end_is_ended_with_the_session(tmp_path: Path, mocker: MockerFixture) -> None:
    session, started = SshSession(), mocker.spy(subprocess, "Popen")
    ready = tmp_path / "ready"
    os.mkfifo(ready)
    pipe = os.open(ready, os.O_RDWR)
    configuration = f"Host *\n  ProxyCommand {sys.executable} -c '{STUBBORN.format(ready=ready)}'\n"
    with controller(tmp_path) as fleet:
        said = logging_in(fleet, tmp_path, session, configuration=configuration)
        assert select.select([pipe], [], [], PATIENCE)[0]
        threading.Thread(target=session.close, daemon=True).start()
        assert said.get(timeout=PATIENCE)
        try:
            assert started.spy_return.wait(PATIENCE) == -signal.SIGKILL
        finally:
            started.spy_return.kill()
    os.close(pipe)


def logging_in(fleet: Fleet, folder: Path, session: SshSession, **options: Any) -> queue.Queue[str]:
    """Log in, in a thread of its own and with all the time in the world; what comes of it ends up in the queue."""
    came: queue.Queue[str] = queue.Queue()

    def log_in() -> None:
        try:
            with logged_in(fleet, folder, session=session, greeting_seconds=3600.0, prompt_seconds=3600.0, **options):
                came.put("")
        except NotReached as error:
            came.put(str(error))

    threading.Thread(target=log_in, daemon=True).start()
    return came


def test_a_session_that_was_closed_before_it_was_opened_connects_nowhere(tmp_path: Path) -> None:
    session = SshSession()
    session.close()
    with controller(tmp_path) as fleet, socket.create_server((ADDRESS, 0)) as mute:
        mute.setblocking(False)
        with pytest.raises(NotReached, match="the session was closed"):
            logged_in(fleet, tmp_path, port=mute.getsockname()[1], session=session).__enter__()
        with pytest.raises(BlockingIOError):
            mute.accept()


# Secrets


def test_a_refused_login_tells_no_secret_to_anyone(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    caplog.set_level(logging.DEBUG)
    credentials = Credentials(LET_IN.username, "wrong-pass-word", "wrong-secret")
    with (
        controller(tmp_path) as fleet,
        pytest.raises(NotReached, match=f"{ADDRESS}:.* refused the login of 'duty' by password") as caught,
    ):
        logged_in(fleet, tmp_path, credentials=credentials).__enter__()
    shown = "".join([caplog.text, *capfd.readouterr(), str(caught.value), repr(caught.value), repr(credentials)])
    assert "wrong-pass-word" not in shown
    assert "wrong-secret" not in shown
    assert caught.value.__cause__ is None


def test_a_session_writes_no_secret_to_a_log(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    credentials = Credentials(LET_IN.username, LET_IN.password, LET_IN.secret)
    behaviour = Behaviour(user_level=True, cuts=1)
    with controller(tmp_path, behaviour) as fleet, logged_in(fleet, tmp_path, credentials=credentials) as member:
        member.ask(command("show version"))
        assert LET_IN.password not in repr(vars(member))
    assert LET_IN.password not in caplog.text
    assert LET_IN.secret
    assert LET_IN.secret not in caplog.text


def test_a_lost_session_prints_no_traceback(tmp_path: Path) -> None:
    # In a process of its own, which logs as an application may that uses the same libraries.
    import subprocess

    program = f"""
import logging, socket, threading
from pathlib import Path
from typing import Any
logging.basicConfig(level=logging.WARNING)
from collector.credentials import Credentials
from collector.ssh import NotReached, SshSession
server = socket.create_server(("{ADDRESS}", 0))
def talk():
    peer = server.accept()[0]
    peer.sendall(b"no SSH here\\r\\n" * 200)
    threading.Event().wait()
threading.Thread(target=talk, daemon=True).start()
try:
    SshSession().open("{ADDRESS}", None, None, server.getsockname()[1], "ios",
                      {{"member": "m", "credentials": Credentials("u", "p"), "known_hosts": Path("{tmp_path}/none")}})
except NotReached as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.startswith(f"the controller at {ADDRESS}:")
    assert done.stderr == ""


# The user's OpenSSH configuration

FORWARD = """
import os, socket, sys, threading
s = socket.create_connection((sys.argv[1], int(sys.argv[2])))
def out():
    while d := s.recv(65536):
        os.write(1, d)
    os._exit(0)
threading.Thread(target=out, daemon=True).start()
while d := os.read(0, 65536):
    s.sendall(d)
"""


def test_a_member_is_reached_by_a_jump_command_under_its_configured_name(tmp_path: Path) -> None:
    (tmp_path / "forward.py").write_text(FORWARD)
    with controller(tmp_path) as fleet:
        port = fleet.ports[MEMBER]
        configuration = (
            f"Host quay-alias\n  HostName {ADDRESS}\n  Port {port}\n"
            f"  ProxyCommand {sys.executable} {tmp_path}/forward.py %h %p\n"
        )
        with logged_in(fleet, tmp_path, hostname="quay-alias", port=22, configuration=configuration) as member:
            assert member.ask(command("show version")).text == on_wire(TEXTS["show version"])


def test_a_jump_that_leads_nowhere_says_what_it_complained_of(tmp_path: Path) -> None:
    configuration = "Host *\n  ProxyCommand sh -c 'echo no way through >&2'\n"
    with controller(tmp_path) as fleet, pytest.raises(NotReached, match=r"jump host didn't lead .*: no way through"):
        logged_in(fleet, tmp_path, configuration=configuration).__enter__()


def test_a_missing_configuration_says_nothing(tmp_path: Path) -> None:
    from collector import openssh

    assert openssh.route("192.0.2.1", None, tmp_path / "none") == openssh.Route("192.0.2.1", 22)


def test_a_configuration_that_is_none_is_told(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, pytest.raises(NotReached, match="ssh_config: isn't a configuration"):
        logged_in(fleet, tmp_path, configuration="what is this\nMatch nonsense\n").__enter__()


@pytest.mark.parametrize(
    ("jump", "expected"),
    [
        ("bastion", ("-W", "192.0.2.9:2022", "ssh://bastion")),
        ("one,me@two:2222", ("-J", "one", "-W", "192.0.2.9:2022", "ssh://me@two:2222")),
        ("none", ()),
    ],
)
def test_jump_hosts_become_openssh_commands(tmp_path: Path, jump: str, expected: tuple[str, ...]) -> None:
    from collector import openssh

    config = tmp_path / "config"
    config.write_text(f"Host quay\n HostName 192.0.2.9\n Port 2022\n User duty\n ProxyJump {jump}\n")
    route = openssh.route("quay", None, config)
    assert (route.hostname, route.port, route.username) == ("192.0.2.9", 2022, "duty")
    assert route.jump == (("ssh", "-F", str(config), "-o", "BatchMode=yes", *expected) if expected else ())


def test_a_key_file_lets_in(tmp_path: Path) -> None:
    import asyncssh

    from collector import simulated

    key = asyncssh.generate_private_key("ssh-ed25519")
    key.write_private_key(tmp_path / "key")
    own = tmp_path / MEMBER
    own.mkdir()
    let_in = simulated.Credentials("duty", "unused", None, key.export_public_key().decode())
    with simulated.fleet({MEMBER: own}, None, let_in) as fleet:
        (tmp_path / "known_hosts").write_text(fleet.known_hosts_text())
        credentials = Credentials("duty", keys=True, key_files=(tmp_path / "key",))
        with logged_in(fleet, tmp_path, credentials=credentials):
            assert fleet.received(MEMBER) == SETTINGS
