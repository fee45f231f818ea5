"""The job: pairs at a time, both members at once, nothing lost, nothing dragged along."""

from __future__ import annotations

import gc
import signal
import threading
import weakref
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, cast

import pytest
from nornir.core import Nornir
from nornir.core.plugins.connections import ConnectionPluginRegister

from collector import job, recording, rules, simulated, ssh
from collector.budget import Budget
from collector.capture import Capture, Ending
from collector.credentials import Credentials
from collector.result import Ended
from collector.simulated import Behaviour
from inventory.opening import Fleet, open_inventory
from inventory.pairs import Pair
from parsers import catalogue
from parsers.catalogue import Command
from tests.fleet import writing
from tests.fleet.making import healthy_pairs

PATIENCE = 20.0
COMMANDS = catalogue.asked()[:3]
DEMO_POLICY = Path(__file__).parents[2] / "inventory" / "demo" / "policy.yaml"


@pytest.fixture
def fleet(tmp_path: Path) -> Fleet:
    pairs = healthy_pairs(4)
    (tmp_path / "hosts.yaml").write_text(writing.hosts(pairs))
    (tmp_path / "groups.yaml").write_text(writing.groups(pairs))
    (tmp_path / "policy.yaml").write_text(DEMO_POLICY.read_text())
    for pair in pairs:
        writing.write_pair(pair, tmp_path / "captures")
    return open_inventory(tmp_path, rules.waivable())


class Played:
    """A connection plugin that a test plays: `answer` is called for every command."""

    answer: Callable[[str, Command], Capture]
    opened: Callable[[str], None] = staticmethod(lambda hostname: None)
    closed: list[str] = []  # noqa: RUF012 - shared on purpose

    def open(self, hostname: str, *_: Any, **__: Any) -> None:
        type(self).opened(hostname)
        self.hostname = hostname

    def close(self) -> None:
        self.closed.append(self.hostname)

    @property
    def connection(self) -> Played:
        return self

    def ask(self, command: Command) -> Capture:
        return type(self).answer(self.hostname, command)

    def renewed(self) -> dict[str, Capture]:
        return {}

    def doubted(self) -> dict[str, str]:
        return {}


@pytest.fixture
def played() -> Iterator[type[Played]]:
    class Own(Played):
        closed: list[str] = []  # noqa: RUF012
        answer = staticmethod(lambda hostname, command: Capture(hostname, command.text, "text"))

    ConnectionPluginRegister.register("played", cast(Any, Own))
    yield Own
    ConnectionPluginRegister.deregister("played")


class Listener:
    """Notes what it hears."""

    def __init__(self) -> None:
        self.pairs: dict[str, dict[str, list[Capture]]] = {}

    def __call__(self, pair: Any, captures: dict[str, list[Capture]]) -> None:
        assert pair.name not in self.pairs
        self.pairs[pair.name] = captures


def gather(nornir: Nornir, pairs: Any, heard: Any, connection: str = "played", workers: int = 2, **more: Any) -> None:
    job.gather(nornir, pairs, connection=connection, commands=COMMANDS, workers=workers, heard=heard, **more)


def test_every_pair_is_heard_once_with_all_captures_in_order(fleet: Fleet, played: type[Played]) -> None:
    listener = Listener()
    gather(fleet.nornir, fleet.pairs, listener)
    assert set(listener.pairs) == {pair.name for pair in fleet.pairs}
    for pair in fleet.pairs:
        heard = listener.pairs[pair.name]
        assert list(heard) == [member.name for member in pair.members]
        assert all([capture.command for capture in own] == [c.text for c in COMMANDS] for own in heard.values())
    assert sorted(played.closed) == sorted(member.hostname for pair in fleet.pairs for member in pair.members)


def test_the_captures_of_a_pair_that_was_heard_are_let_go(fleet: Fleet, played: type[Played]) -> None:
    given: list[weakref.ref[Capture]] = []
    left: list[int] = []

    def heard(pair: Pair, captures: dict[str, list[Capture]]) -> None:
        gc.collect()
        left.append(sum(capture() is not None for capture in given))
        given.extend(weakref.ref(capture) for own in captures.values() for capture in own)

    gather(fleet.nornir, fleet.pairs, heard, workers=1)
    assert len(given) == len(fleet.pairs) * 2 * len(COMMANDS)
    assert left == [0] * len(fleet.pairs)


def test_only_the_given_pairs_are_asked(fleet: Fleet, played: type[Played]) -> None:
    opened: list[str] = []
    played.opened = staticmethod(opened.append)
    gather(fleet.nornir, fleet.pairs[1:2], Listener())
    assert sorted(opened) == sorted(member.hostname for member in fleet.pairs[1].members)


def test_both_members_are_asked_at_the_same_time(fleet: Fleet, played: type[Played]) -> None:
    meeting = threading.Barrier(2)

    def answer(hostname: str, command: Command) -> Capture:
        meeting.wait(PATIENCE)
        return Capture(hostname, command.text, "text")

    played.answer = staticmethod(answer)
    listener = Listener()
    gather(fleet.nornir, fleet.pairs, listener, workers=1)
    assert all(c.ending is Ending.COMPLETE for pair in listener.pairs.values() for own in pair.values() for c in own)


def test_as_many_pairs_as_workers_are_asked_at_once(fleet: Fleet, played: type[Played]) -> None:
    meeting = threading.Barrier(6)
    lock, now, most = threading.Lock(), [0], [0]

    def opened(hostname: str) -> None:
        with lock:
            now[0] += 1
            most[0] = max(most[0], now[0])
        if most[0] <= 6 and not meeting.broken and len(gone) == 0:
            meeting.wait(PATIENCE)
            gone.append(hostname)
        with lock:
            now[0] -= 1

    gone: list[str] = []
    played.opened = staticmethod(opened)
    gather(fleet.nornir, fleet.pairs[:3], Listener(), workers=3)
    assert most == [6]


def test_no_pair_waits_for_another(fleet: Fleet, played: type[Played]) -> None:
    released = threading.Event()
    slow = fleet.pairs[0].members[0].hostname

    def answer(hostname: str, command: Command) -> Capture:
        if hostname == slow:
            assert released.wait(PATIENCE)
        return Capture(hostname, command.text, "text")

    def heard(pair: Any, captures: Any) -> None:
        listener(pair, captures)
        if len(listener.pairs) == 3:
            released.set()

    listener = Listener()
    played.answer = staticmethod(answer)
    gather(fleet.nornir, fleet.pairs, heard)
    assert list(listener.pairs)[-1] == fleet.pairs[0].name


def test_a_members_mishap_stays_its_own(fleet: Fleet, played: type[Played]) -> None:
    broken = fleet.pairs[0].members[0]

    def answer(hostname: str, command: Command) -> Capture:
        if hostname == broken.hostname and command is COMMANDS[1]:
            raise ZeroDivisionError("pass-word-in-a-message")
        return Capture(hostname, command.text, "text")

    played.answer = staticmethod(answer)
    listener = Listener()
    gather(fleet.nornir, fleet.pairs, listener)
    captures = listener.pairs[fleet.pairs[0].name][broken.name]
    assert [c.ending for c in captures] == [Ending.COMPLETE, Ending.MISSING, Ending.MISSING]
    assert (
        captures[1].reason
        == captures[2].reason
        == "an internal error of readypair's (ZeroDivisionError) while it asked"
    )
    others = [c for pair in listener.pairs.values() for own in pair.values() for c in own if own is not captures]
    assert len(others) == 7 * len(COMMANDS)
    assert all(c.ending is Ending.COMPLETE for c in others)


def test_a_member_that_is_not_reached_is_missing_with_the_reason(fleet: Fleet, played: type[Played]) -> None:
    def opened(hostname: str) -> None:
        raise ssh.NotReached("nothing listens at 192.0.2.11:22")

    played.opened = staticmethod(opened)
    listener = Listener()
    gather(fleet.nornir, fleet.pairs[:1], listener)
    for own in listener.pairs[fleet.pairs[0].name].values():
        assert {(c.ending, c.reason) for c in own} == {(Ending.MISSING, "nothing listens at 192.0.2.11:22")}
        assert [c.command for c in own] == [c.text for c in COMMANDS]


def test_a_host_that_failed_before_is_asked_all_the_same(fleet: Fleet, played: type[Played]) -> None:
    fleet.nornir.data.failed_hosts.add(fleet.pairs[0].members[0].name)
    listener = Listener()
    gather(fleet.nornir, fleet.pairs[:1], listener)
    assert set(listener.pairs) == {fleet.pairs[0].name}


def test_what_the_listener_raises_is_raised(fleet: Fleet, played: type[Played]) -> None:
    calls: list[str] = []

    def heard(pair: Any, captures: Any) -> None:
        calls.append(pair.name)
        raise OSError(28, "No space left on device", "report.json")

    with pytest.raises(OSError, match="No space left"):
        gather(fleet.nornir, fleet.pairs, heard)
    assert len(calls) == 1


def test_the_listener_is_called_one_at_a_time(fleet: Fleet, played: type[Played]) -> None:
    inside = threading.Lock()

    def heard(pair: Any, captures: Any) -> None:
        assert inside.acquire(blocking=False)
        threading.Event().wait(0.01)
        inside.release()

    gather(fleet.nornir, fleet.pairs, heard, workers=4)


def test_progress_tells_each_member_and_command(fleet: Fleet, played: type[Played]) -> None:
    told: list[tuple[str, str]] = []
    gather(fleet.nornir, fleet.pairs[:1], Listener(), progress=lambda member, what: told.append((member, what)))
    assert sorted(told) == sorted((m.name, c.text) for m in fleet.pairs[0].members for c in COMMANDS)


def test_an_interruption_leaves_what_was_heard(fleet: Fleet, played: type[Played]) -> None:
    held, pressed = threading.Event(), threading.Event()
    fast = {member.hostname for member in fleet.pairs[0].members}
    asked: set[str] = set()

    def answer(hostname: str, command: Command) -> Capture:
        asked.add(hostname)
        if hostname == fleet.pairs[1].members[0].hostname and not pressed.is_set():
            pressed.set()
            signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)
        if hostname not in fast:
            held.wait(PATIENCE)
        return Capture(hostname, command.text, "text")

    played.answer = staticmethod(answer)
    listener = Listener()
    with pytest.raises(job.Interrupted) as caught:
        gather(fleet.nornir, fleet.pairs, listener, workers=1)
    held.set()
    for worker in (thread for thread in threading.enumerate() if thread.name.startswith("pairs ")):
        worker.join(PATIENCE)
    assert caught.value.heard == fleet.pairs[:1]
    assert caught.value.under_way == fleet.pairs[1:2]
    assert caught.value.ended is Ended.INTERRUPTED
    assert set(listener.pairs) == {fleet.pairs[0].name}
    assert not asked & {member.hostname for pair in fleet.pairs[2:] for member in pair.members}


class Announced(Budget):
    """A budget that is spent when a test says so."""

    def __init__(self) -> None:
        super().__init__(2700)
        self.over = threading.Event()
        self.seen = threading.Event()

    def spent(self) -> Ended | None:
        if not self.over.is_set():
            return None
        self.seen.set()
        return Ended.DEADLINE


def joined(name: str) -> None:
    """Wait for the threads that a job has left behind."""
    for thread in [thread for thread in threading.enumerate() if thread.name.startswith(name)]:
        thread.join(PATIENCE)
        assert not thread.is_alive()


def test_at_the_deadline_who_is_asked_is_given_up_and_nobody_else_is_asked(fleet: Fleet, played: type[Played]) -> None:
    budget, held, both = Announced(), threading.Event(), threading.Barrier(2)
    fast = {member.hostname for member in fleet.pairs[0].members}
    asked: list[tuple[str, str]] = []

    def answer(hostname: str, command: Command) -> Capture:
        asked.append((hostname, command.text))
        if hostname not in fast:
            both.wait(PATIENCE)
            budget.over.set()
            held.wait(PATIENCE)
        return Capture(hostname, command.text, "text")

    played.answer = staticmethod(answer)
    listener = Listener()
    with pytest.raises(job.Interrupted) as caught:
        gather(fleet.nornir, fleet.pairs, listener, workers=1, budget=budget)
    assert caught.value.ended is Ended.DEADLINE
    assert caught.value.heard == fleet.pairs[:1]
    assert caught.value.under_way == fleet.pairs[1:2]
    # Their sessions are closed while they hang, and once they don't any more they ask nothing more.
    assert set(played.closed) == {member.hostname for pair in fleet.pairs[:2] for member in pair.members}
    held.set()
    joined("pairs ")
    assert set(listener.pairs) == {fleet.pairs[0].name}
    assert len(asked) == len(fast) * len(COMMANDS) + len({hostname for hostname, _ in asked} - fast)
    assert not {hostname for hostname, _ in asked} & {m.hostname for pair in fleet.pairs[2:] for m in pair.members}


def test_a_session_that_is_still_being_opened_is_closed_and_asked_nothing(fleet: Fleet, played: type[Played]) -> None:
    budget, held, opening = Announced(), threading.Event(), threading.Barrier(2)
    asked: list[str] = []

    def opened(hostname: str) -> None:
        # Both are being opened by now.
        opening.wait(PATIENCE)
        budget.over.set()
        held.wait(PATIENCE)

    def answer(hostname: str, command: Command) -> Capture:
        asked.append(hostname)
        return Capture(hostname, command.text, "text")

    played.opened = staticmethod(opened)
    played.answer = staticmethod(answer)
    with pytest.raises(job.Interrupted):
        gather(fleet.nornir, fleet.pairs[:1], Listener(), budget=budget)
    held.set()
    joined("pairs ")
    assert asked == []


def test_a_session_that_will_not_be_closed_holds_nobody_up(
    fleet: Fleet, played: type[Played], monkeypatch: pytest.MonkeyPatch
) -> None:
    budget, held = Announced(), threading.Event()

    def answer(hostname: str, command: Command) -> Capture:
        budget.over.set()
        held.wait(PATIENCE)
        return Capture(hostname, command.text, "text")

    played.answer = staticmethod(answer)
    closed: list[Played] = []

    def close(session: Played) -> None:
        held.wait(PATIENCE)
        closed.append(session)

    monkeypatch.setattr(played, "close", close)
    with pytest.raises(job.Interrupted):
        gather(fleet.nornir, fleet.pairs[:1], Listener(), budget=budget)
    # It is given up while both the answer and the closing hang.
    assert closed == []
    held.set()
    joined("pairs ")


def test_a_pair_that_is_being_completed_at_the_deadline_is_heard(fleet: Fleet, played: type[Played]) -> None:
    budget, held = Announced(), threading.Event()
    fast = {member.hostname for member in fleet.pairs[0].members}
    listener = Listener()

    def answer(hostname: str, command: Command) -> Capture:
        if hostname not in fast:
            held.wait(PATIENCE)
        return Capture(hostname, command.text, "text")

    def heard(pair: Any, captures: Any) -> None:
        budget.over.set()
        assert budget.seen.wait(PATIENCE)
        listener(pair, captures)

    played.answer = staticmethod(answer)
    with pytest.raises(job.Interrupted) as caught:
        gather(fleet.nornir, fleet.pairs, heard, workers=1, budget=budget)
    held.set()
    assert caught.value.heard == fleet.pairs[:1]
    assert set(listener.pairs) == {fleet.pairs[0].name}


def test_nobody_is_asked_when_the_time_is_over_before_it_begins(fleet: Fleet, played: type[Played]) -> None:
    listener = Listener()
    with pytest.raises(job.Interrupted) as caught:
        gather(fleet.nornir, fleet.pairs, listener, budget=Budget(0))
    assert (caught.value.heard, listener.pairs) == ((), {})


def test_who_is_done_in_time_is_complete(fleet: Fleet, played: type[Played]) -> None:
    listener = Listener()
    gather(fleet.nornir, fleet.pairs, listener, budget=Budget(3600))
    assert set(listener.pairs) == {pair.name for pair in fleet.pairs}


def test_recordings_are_asked_by_the_same_job(fleet: Fleet) -> None:
    job.prepare_recorded(fleet.nornir, fleet.pairs, fleet.folder / "captures")
    listener = Listener()
    gather(fleet.nornir, fleet.pairs, listener, connection=job.RECORDED)
    for pair in fleet.pairs:
        for member in pair.members:
            expected = recording.load(fleet.folder / "captures", member.name, COMMANDS)
            assert listener.pairs[pair.name][member.name] == expected
            assert all(capture.text for capture in expected)


def test_controllers_are_asked_over_ssh(fleet: Fleet, tmp_path: Path) -> None:
    own = {m.name: tmp_path / "captures" / m.name for pair in fleet.pairs for m in pair.members}
    gone = fleet.pairs[1].members[1].name
    with simulated.fleet(own, {gone: Behaviour(unreachable=True)}) as running:
        for name, port in running.ports.items():
            host = fleet.nornir.inventory.hosts[name]
            host.hostname, host.port = simulated.ADDRESS, port
        (tmp_path / "known_hosts").write_text(running.known_hosts_text())
        let_in = Credentials(running.credentials.username, running.credentials.password)
        ssh.prepare(fleet.nornir, fleet.pairs, dict.fromkeys(own, let_in), known_hosts=tmp_path / "known_hosts")
        listener = Listener()
        gather(fleet.nornir, fleet.pairs, listener, connection=ssh.CONNECTION)
        assert let_in.password
        assert let_in.password not in repr(fleet.nornir.inventory.dict())
    for pair in fleet.pairs:
        for member in pair.members:
            captures = listener.pairs[pair.name][member.name]
            if member.name == gone:
                assert {c.reason for c in captures} == {f"nothing listens at 127.0.0.1:{running.ports[gone]}"}
            else:
                texts = [(own[member.name] / f"{c.slug}.txt").read_bytes().decode() for c in COMMANDS]
                assert [c.text.replace("\r\n", "\n") for c in captures] == [t.replace("\r\n", "\n") for t in texts]
