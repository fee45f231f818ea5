"""The Nornir job: asks both members of every pair, some pairs at a time, and hands each pair over when it is complete.

The connection is named as in Nornir's register. What its sessions need is given to the hosts beforehand: by
`collector.ssh.prepare` for controllers, by `prepare_recorded` for recordings.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, cast

from nornir.core.inventory import ConnectionOptions, Host
from nornir.core.plugins.connections import ConnectionPluginRegister
from nornir.core.task import AggregatedResult, MultiResult, Result, Task

from collector import ssh
from collector.asking import Asking, settled
from collector.budget import Budget
from collector.capture import Capture, Ending
from collector.recorded import RecordedSession
from collector.recording import RecordingError
from collector.result import Ended
from inventory.pairs import Pair
from parsers.catalogue import Command

if TYPE_CHECKING:
    from nornir.core import Nornir
    from nornir.core.configuration import Config

RECORDED = "recorded"
# For how long the ending of sessions is waited for, in seconds: a controller that hangs may keep one open for ever.
_FAREWELL = 2.0

Heard = Callable[[Pair, dict[str, list[Capture]]], None]
Progress = Callable[[str, str], None]


class Interrupted(Exception):  # noqa: N818 - nothing went wrong: somebody pressed Ctrl-C, or the time was over
    """The job was ended before its end, by what `ended` says.

    `heard` are the pairs that were handed over, and no other will be; `under_way` those that were being asked.
    """

    def __init__(self, heard: Sequence[Pair], under_way: Sequence[Pair] = (), ended: Ended = Ended.INTERRUPTED) -> None:
        super().__init__(f"{ended} after {len(heard)} pairs")
        self.heard = tuple(heard)
        self.under_way = tuple(under_way)
        self.ended = ended


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
    budget: Budget | None = None,
) -> None:
    """Ask these commands of both members of these pairs, `workers` pairs at a time, two sessions each.

    `heard` is called once a pair, with the captures of each member in the commands' order, when both are done; one call
    at a time, in whatever thread. What it raises ends the job and is raised here. `progress` is told each member and
    the command that it is asked. Ctrl-C in the main thread, and the end of the `budget`, raise Interrupted without
    waiting for the pairs under way, in whatever state their sessions are.
    """
    ConnectionPluginRegister.register(ssh.CONNECTION, ssh.SshSession)
    ConnectionPluginRegister.register(RECORDED, RecordedSession)
    names = {member.name for pair in pairs for member in pair.members}

    def complete(pair: Pair, results: Mapping[str, MultiResult]) -> None:
        heard(pair, {member.name: list(results[member.name][0].result) for member in pair.members})

    budget = budget or Budget()
    runner = PairRunner(pairs, workers, complete, budget)
    members = nornir.filter(filter_func=lambda host, **_: host.name in names).with_runner(runner)
    try:
        members.run(
            task=ask_member,
            on_failed=True,
            connection=connection,
            commands=commands,
            progress=progress or (lambda member, what: None),
            given_up=runner.stopped.is_set,
        )
    except (KeyboardInterrupt, _Spent):
        ended = budget.spent() or Ended.INTERRUPTED
        runner.stop()
        raise Interrupted(runner.completed, runner.under_way, ended) from None
    finally:
        runner.stop()


def ask_member(
    task: Task, connection: str, commands: Sequence[Command], progress: Progress, given_up: Callable[[], bool]
) -> Result:
    """Nornir's task: one member's captures, in the commands' order. It raises nothing that is an Exception."""
    member = task.host.name
    captures: list[Capture] = []
    try:
        with _session(task.host, connection, task.nornir.config, given_up) as asking:
            for command in commands:
                if given_up():
                    break
                progress(member, command.text)
                captures.append(asking.ask(command))
            if not given_up():
                captures = settled(asking, captures)
    except (ssh.NotReached, RecordingError) as error:
        captures += _missing(member, commands[len(captures) :], str(error))
    except Exception as error:
        # Its message may hold anything, a secret among it.
        reason = f"an internal error of readypair's ({type(error).__name__}) while it asked"
        captures += _missing(member, commands[len(captures) :], reason)
    return Result(task.host, result=captures)


@contextmanager
def _session(host: Host, connection: str, configuration: Config, given_up: Callable[[], bool]) -> Iterator[Asking]:
    """A connection as Host.get_connection opens it, but one that `stop` finds and closes while it is being opened."""
    session = ConnectionPluginRegister.get_plugin(connection)()
    host.connections[connection] = session
    try:
        # Looked at only now: whoever gives up says so before closing what there is.
        if given_up():
            raise ssh.NotReached("nobody waits for it any more")
        given = host.get_connection_parameters(connection)
        session.open(
            hostname=given.hostname,
            username=given.username,
            password=given.password,
            port=given.port,
            platform=given.platform,
            extras=given.extras,
            configuration=configuration,
        )
        yield cast(Asking, session.connection)
    finally:
        # By now another job may have one of its own with the same host.
        if host.connections.get(connection) is session:
            host.connections.pop(connection, None)
        with suppress(Exception):
            session.close()


def _end_sessions(hosts: Iterable[Host]) -> None:
    """Close what is open, all at once, and wait for it, but not for long."""
    closing = [threading.Thread(target=_close, args=(host,), daemon=True) for host in hosts if host.connections]
    for each in closing:
        each.start()
    end = time.monotonic() + _FAREWELL
    for each in closing:
        each.join(max(end - time.monotonic(), 0))


def _close(host: Host) -> None:
    """End a host's connections, if there are any, whatever they do."""
    with suppress(Exception):
        host.close_connections()


class _Spent(Exception):  # noqa: N818 - nothing went wrong
    """The budget is spent while there are pairs to be asked."""


def _missing(member: str, commands: Sequence[Command], reason: str) -> list[Capture]:
    return [Capture(member, command.text, ending=Ending.MISSING, reason=reason) for command in commands]


class PairRunner:
    """Nornir's runner that works pair by pair: `workers` pairs at a time, both members of a pair at once.

    `complete` is called with the results of a pair's two members, one call at a time. `completed` are the pairs of
    which it returned, `under_way` those that are being asked. Once `stopped`, it asks and completes no more.
    """

    def __init__(
        self,
        pairs: Sequence[Pair],
        workers: int,
        complete: Callable[[Pair, Mapping[str, MultiResult]], None],
        budget: Budget,
    ) -> None:
        self.completed: list[Pair] = []
        self.under_way: list[Pair] = []
        self.stopped = threading.Event()
        self._budget = budget
        self._waiting = deque(pairs)
        self._workers = min(workers, len(pairs))
        self._complete = complete
        self._failure: BaseException | None = None
        self._lock = threading.RLock()
        self._over = threading.Condition()
        self._at_work = 0
        self._hosts: dict[str, Host] = {}

    def run(self, task: Task, hosts: list[Host]) -> AggregatedResult:
        """Run the task on the members of all pairs; raises what `complete` raised, and _Spent once the budget is."""
        self._hosts = {host.name: host for host in hosts}
        self._at_work = self._workers
        for number in range(self._workers):
            # A daemon: somebody who interrupts doesn't wait for a controller that hangs.
            threading.Thread(target=self._work, args=(task,), name=f"pairs {number}", daemon=True).start()
        with self._over:
            while self._at_work and not self._budget.spent():
                self._over.wait(self._budget.pause())
            left = self._at_work or self._waiting
        if self._failure is not None:
            raise self._failure
        if left:
            raise _Spent
        # Of no host: each pair's results are let go once it is complete, or all captures of a fleet would be kept.
        return AggregatedResult(task.name)

    def stop(self) -> None:
        """Hand out no more pairs, complete none that is under way, end its sessions; no more than that once it did."""
        if self.stopped.is_set():
            return
        self.stopped.set()
        # One that is being completed is waited for: half a pair is neither heard nor left.
        with self._lock:
            self._waiting.clear()
        _end_sessions(self._hosts.values())

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
            if self.stopped.is_set() or not self._waiting or self._budget.spent():
                return None
            self.under_way.append(self._waiting.popleft())
            return self.under_way[-1]

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
            if self.stopped.is_set():
                return
            self._complete(pair, results)
            self.completed.append(pair)
            self.under_way.remove(pair)
