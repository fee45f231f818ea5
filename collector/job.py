"""The Nornir job: asks both members of every pair, some pairs at a time, and hands each pair over when it is complete.

The connection is named as in Nornir's register. What its sessions need is given to the hosts beforehand: by
`collector.ssh.prepare` for controllers, by `prepare_recorded` for recordings.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, cast

from nornir.core.inventory import ConnectionOptions, Host
from nornir.core.plugins.connections import ConnectionPluginRegister
from nornir.core.task import AggregatedResult, MultiResult, Result, Task

from collector import ssh
from collector.asking import Asking
from collector.capture import Capture, Ending
from collector.recorded import RecordedSession
from collector.recording import RecordingError
from inventory.pairs import Pair
from parsers.catalogue import Command

if TYPE_CHECKING:
    from nornir.core import Nornir

RECORDED = "recorded"

Heard = Callable[[Pair, dict[str, list[Capture]]], None]
Progress = Callable[[str, str], None]


class Interrupted(Exception):  # noqa: N818 - nothing went wrong: somebody pressed Ctrl-C
    """The job was interrupted; `heard` are the pairs that were handed over, and no other will be."""

    def __init__(self, heard: Sequence[Pair]) -> None:
        super().__init__(f"interrupted after {len(heard)} pairs")
        self.heard = tuple(heard)


def prepare_recorded(nornir: Nornir, pairs: Sequence[Pair], folder: Path) -> None:
    """Give the members' hosts the folder of recordings (see `recording.find`) in place of their controllers."""
    for member in (member for pair in pairs for member in pair.members):
        options = ConnectionOptions(extras={"folder": folder, "member": member.name})
        nornir.inventory.hosts[member.name].connection_options[RECORDED] = options


def gather(
    nornir: Nornir,
    pairs: Sequence[Pair],
    *,
    connection: str,
    commands: Sequence[Command],
    workers: int,
    heard: Heard,
    progress: Progress | None = None,
) -> None:
    """Ask these commands of both members of these pairs, `workers` pairs at a time, two sessions each.

    `heard` is called once a pair, with the captures of each member in the commands' order, when both are done; one call
    at a time, in whatever thread. What it raises ends the job and is raised here. `progress` is told each member and
    the command that it is asked. Ctrl-C in the main thread raises Interrupted without waiting for the pairs under way.
    """
    ConnectionPluginRegister.register(ssh.CONNECTION, ssh.SshSession)
    ConnectionPluginRegister.register(RECORDED, RecordedSession)
    names = {member.name for pair in pairs for member in pair.members}

    def complete(pair: Pair, results: Mapping[str, MultiResult]) -> None:
        heard(pair, {member.name: list(results[member.name][0].result) for member in pair.members})

    runner = PairRunner(pairs, workers, complete)
    members = nornir.filter(filter_func=lambda host, **_: host.name in names).with_runner(runner)
    try:
        members.run(
            task=ask_member,
            on_failed=True,
            connection=connection,
            commands=commands,
            progress=progress or (lambda member, what: None),
        )
    except KeyboardInterrupt:
        runner.stop()
        raise Interrupted(runner.completed) from None
    finally:
        runner.stop()


def ask_member(task: Task, connection: str, commands: Sequence[Command], progress: Progress) -> Result:
    """Nornir's task: one member's captures, in the commands' order. It raises nothing that is an Exception."""
    member = task.host.name
    captures: list[Capture] = []
    try:
        asking = cast(Asking, task.host.get_connection(connection, task.nornir.config))
        for command in commands:
            progress(member, command.text)
            captures.append(asking.ask(command))
    except (ssh.NotReached, RecordingError) as error:
        captures += _missing(member, commands[len(captures) :], str(error))
    except Exception as error:
        # Its message may hold anything, a secret among it.
        reason = f"an internal error of readypair's ({type(error).__name__}) while it asked"
        captures += _missing(member, commands[len(captures) :], reason)
    finally:
        close(task.host, connection)
    return Result(task.host, result=captures)


def close(host: Host, connection: str) -> None:
    """End a host's connection, if there is one, whatever it does."""
    with suppress(Exception):
        host.close_connection(connection)


def _missing(member: str, commands: Sequence[Command], reason: str) -> list[Capture]:
    return [Capture(member, command.text, ending=Ending.MISSING, reason=reason) for command in commands]


class PairRunner:
    """Nornir's runner that works pair by pair: `workers` pairs at a time, both members of a pair at once.

    `complete` is called with the results of a pair's two members, one call at a time. `completed` are the pairs of
    which it returned.
    """

    def __init__(
        self, pairs: Sequence[Pair], workers: int, complete: Callable[[Pair, Mapping[str, MultiResult]], None]
    ) -> None:
        self.completed: list[Pair] = []
        self._waiting = deque(pairs)
        self._workers = min(workers, len(pairs))
        self._complete = complete
        self._results: dict[str, MultiResult] = {}
        self._failure: BaseException | None = None
        self._stopped = False
        self._lock = threading.RLock()
        self._over = threading.Condition()
        self._at_work = 0
        self._hosts: dict[str, Host] = {}

    def run(self, task: Task, hosts: list[Host]) -> AggregatedResult:
        """Run the task on the members of all pairs; raises what `complete` raised."""
        self._hosts = {host.name: host for host in hosts}
        self._at_work = self._workers
        for number in range(self._workers):
            # A daemon: somebody who interrupts doesn't wait for a controller that hangs.
            threading.Thread(target=self._work, args=(task,), name=f"pairs {number}", daemon=True).start()
        with self._over:
            while self._at_work:
                self._over.wait()
        if self._failure is not None:
            raise self._failure
        result = AggregatedResult(task.name)
        result.update(self._results)
        return result

    def stop(self) -> None:
        """Hand out no more pairs, complete none that is under way, end its sessions."""
        with self._lock:
            self._stopped = True
            self._waiting.clear()
        for host in self._hosts.values():
            with suppress(Exception):
                host.close_connections()

    def _work(self, task: Task) -> None:
        try:
            while pair := self._next():
                self._finish(pair, self._both(task, pair))
        except BaseException as error:
            self._failure = self._failure or error
            self.stop()
        finally:
            with self._over:
                self._at_work -= 1
                self._over.notify_all()

    def _next(self) -> Pair | None:
        with self._lock:
            return self._waiting.popleft() if self._waiting else None

    def _both(self, task: Task, pair: Pair) -> dict[str, MultiResult]:
        first, second = (self._hosts[member.name] for member in pair.members)
        results: dict[str, MultiResult] = {}

        def start(host: Host) -> None:
            results[host.name] = task.copy().start(host)

        beside = threading.Thread(target=start, args=(second,), name=second.name, daemon=True)
        beside.start()
        start(first)
        beside.join()
        return results

    def _finish(self, pair: Pair, results: dict[str, MultiResult]) -> None:
        with self._lock:
            if self._stopped:
                return
            self._results.update(results)
            self._complete(pair, results)
            self.completed.append(pair)
