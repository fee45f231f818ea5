"""Polls both members of a pair over sessions that stay open from poll to poll, and takes up anew those that are lost.

Each member is asked in a thread of its own. A member that hangs is given up after a bound, and its partner's answers
are told all the same; it is asked again, over a new session, by the next poll.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from collector import ssh
from collector.asking import settled
from collector.capture import Capture, Ending
from collector.dialogue import NAME_CHANGED, ROLE_CHANGED
from collector.ssh import NotReached, SshSession

if TYPE_CHECKING:
    from nornir.core import Nornir
    from nornir.core.configuration import Config
    from nornir.core.inventory import Host

    from collector.asking import Asking
    from inventory.pairs import Pair
    from parsers.catalogue import Command

SILENCE_SECONDS = 20.0
"""How long a poll waits for a member's first answer; the session's own bounds for making one are about as long."""

POLL_SECONDS = 60.0
"""How long a poll waits for a member that answers."""


# A signal can't wake who waits: it is looked for this often, in seconds.
_GLANCE = 0.2


class Poller(Protocol):
    """Asks both members once a poll."""

    def poll(self) -> dict[str, list[Capture]]:
        """Each member's captures in the commands' order; what couldn't be had in time is missing, and says why."""

    def stop(self) -> None:
        """Let a poll that goes on end at once, with what there is; a signal's handler may call it."""

    def close(self) -> None:
        """End the sessions."""


class SshPoller:
    """Both members over SSH; what the sessions need is given to the hosts beforehand by `collector.ssh.prepare`.

    A poll takes `silence` seconds at most where a member says nothing, and `longest` seconds at most where one answers.
    """

    def __init__(
        self,
        nornir: Nornir,
        pair: Pair,
        commands: Sequence[Command],
        *,
        silence: float = SILENCE_SECONDS,
        longest: float = POLL_SECONDS,
    ) -> None:
        hosts = nornir.inventory.hosts
        self._lines = {member.name: _Line(hosts[member.name], nornir.config) for member in pair.members}
        self._commands = tuple(commands)
        self._silence = silence
        self._longest = longest
        self._stopped = False

    def poll(self) -> dict[str, list[Capture]]:
        """Each member's captures; see Poller."""
        started = time.monotonic()
        rounds = {name: line.ask(self._commands) for name, line in self._lines.items()}
        return {name: self._heard(name, each, started) for name, each in rounds.items()}

    def stop(self) -> None:
        """Wait for nobody any more; nothing but a flag, so that a signal's handler may call it."""
        self._stopped = True

    def close(self) -> None:
        """End the sessions, whatever they are doing."""
        self._stopped = True
        for line in self._lines.values():
            line.give_up()

    def _heard(self, member: str, round: _Round, started: float) -> list[Capture]:
        """What the member said in time."""
        if not self._came(round.spoke, started + self._silence):
            return self._given_up(member, round, f"no answer within {self._silence:g} s")
        if not self._came(round.over, started + self._longest):
            return self._given_up(member, round, f"not all was answered within {self._longest:g} s")
        return list(round.captures)

    def _came(self, event: threading.Event, end: float) -> bool:
        """Wait until the event came, to this end at most."""
        while not self._stopped and (left := end - time.monotonic()) > 0:
            if event.wait(min(left, _GLANCE)):
                return True
        return event.is_set()

    def _given_up(self, member: str, round: _Round, reason: str) -> list[Capture]:
        captures = list(round.captures)
        self._lines[member].give_up()
        left = self._commands[len(captures) :]
        return [*captures, *(Capture(member, each.text, ending=Ending.MISSING, reason=reason) for each in left)]


@dataclass
class _Round:
    """One poll of one member: its thread puts `captures` anew, whole, and tells when there are some and when all."""

    captures: tuple[Capture, ...] = ()
    spoke: threading.Event = field(default_factory=threading.Event)
    over: threading.Event = field(default_factory=threading.Event)

    def put(self, captures: Sequence[Capture]) -> None:
        self.captures = tuple(captures)
        if captures:
            self.spoke.set()

    def end(self, captures: Sequence[Capture]) -> None:
        self.captures = tuple(captures)
        self.over.set()
        self.spoke.set()


class _Line:
    """The way to one member: a session that is kept as long as it answers."""

    def __init__(self, host: Host, configuration: Config) -> None:
        self._host = host
        self._configuration = configuration
        self._session: SshSession | None = None
        self._lock = threading.Lock()

    def ask(self, commands: Sequence[Command]) -> _Round:
        """Begin a round in a thread of its own."""
        round = _Round()
        with self._lock:
            kept, self._session = self._session, self._session or SshSession()
            session = self._session
        # A daemon: a controller that hangs keeps nobody from ending.
        threading.Thread(
            target=self._hear, args=(session, kept is None, commands, round), name=self._host.name, daemon=True
        ).start()
        return round

    def give_up(self) -> None:
        """End the session, at whatever point it is; the next round has another one."""
        with self._lock:
            session, self._session = self._session, None
        if session is not None:
            # Closing may wait for the other side's transport.
            threading.Thread(target=session.close, name=f"{self._host.name} ends", daemon=True).start()

    def _hear(self, session: SshSession, is_new: bool, commands: Sequence[Command], round: _Round) -> None:
        member = self._host.name
        captures: list[Capture] = []
        try:
            captures = self._round(session, is_new, commands, round)
        except NotReached as error:
            self._forget(session)
            captures = _missing(member, commands, str(error))
        except Exception as error:
            # Its message may hold anything, a secret among it.
            self._forget(session)
            captures = _missing(member, commands, f"an internal error of readypair's ({type(error).__name__})")
        finally:
            round.end(captures)

    def _round(self, session: SshSession, is_new: bool, commands: Sequence[Command], round: _Round) -> list[Capture]:
        """The answers of one round; once more from the start where the session was lost or the role changed in it.

        Half a round as standby and half as active would be the picture of no moment.
        """
        if is_new:
            self._open(session)
        captures = _asked(session.connection, commands, round)
        broken = [capture.reason for capture in captures if capture.reason]
        if not broken:
            return captures
        if captures[-1].ending is not Ending.MISSING:
            # It goes on: who was only slow once isn't asked everything again.
            again = any(reason.startswith((ROLE_CHANGED, NAME_CHANGED)) for reason in broken)
            return _asked(session.connection, commands, round) if again else captures
        another = self._another(session)
        if another is None:
            return captures
        try:
            self._open(another)
        except NotReached as error:
            self._forget(another)
            told = [each for each in captures if each.ending is not Ending.MISSING]
            return captures if told else _missing(self._host.name, commands, str(error))
        return _asked(another.connection, commands, round)

    def _open(self, session: SshSession) -> None:
        given = self._host.get_connection_parameters(ssh.CONNECTION)
        session.open(
            hostname=given.hostname,
            username=given.username,
            password=given.password,
            port=given.port,
            platform=given.platform,
            extras=given.extras,
            configuration=self._configuration,
        )

    def _another(self, session: SshSession) -> SshSession | None:
        """A new session in place of this one; None where this one was given up meanwhile."""
        with self._lock:
            if self._session is not session:
                return None
            self._session = another = SshSession()
        session.close()
        return another

    def _forget(self, session: SshSession) -> None:
        with self._lock:
            if self._session is session:
                self._session = None
        session.close()


def _asked(asking: Asking, commands: Sequence[Command], round: _Round) -> list[Capture]:
    captures: list[Capture] = []
    for command in commands:
        captures.append(asking.ask(command))
        if captures[-1].ending is not Ending.MISSING:
            round.put(captures)
    return settled(asking, captures)


def _missing(member: str, commands: Sequence[Command], reason: str) -> list[Capture]:
    return [Capture(member, each.text, ending=Ending.MISSING, reason=reason) for each in commands]
