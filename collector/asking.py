"""What the sweep asks a member through, whether it answers over SSH or out of a recording."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from collector.capture import Capture, Ending
from parsers.catalogue import Command

if TYPE_CHECKING:
    from nornir.core.configuration import Config


class Asking(Protocol):
    """The `connection` of every connection plugin that a sweep may use."""

    def ask(self, command: Command) -> Capture:
        """The member's answer to one command of the catalogue; what can't be had is a capture that says why."""
        ...

    def renewed(self) -> Mapping[str, Capture]:
        """New answers, by command, in place of some that are of no use any more; asked when all are in."""
        ...

    def doubted(self) -> Mapping[str, str]:
        """Which answers don't count after all, by command, each with a clause that says why; asked when all are in.

        Whoever goes on asking is told next time of the answers since then.
        """
        ...


def settled(asking: Asking, captures: Sequence[Capture]) -> list[Capture]:
    """The captures of one asking, with what was asked again, and with those that don't count after all as cut off."""
    renewed = asking.renewed()
    doubted = asking.doubted()
    return [
        replace(each, ending=Ending.CUT_OFF, reason=doubted[each.command])
        if each.command in doubted and each.ending is Ending.COMPLETE
        else each
        for each in (renewed.get(each.command, each) for each in captures)
    ]


A = TypeVar("A", bound=Asking)


@dataclass(frozen=True)
class Login:
    """What Nornir's inventory and its configuration say about a connection to a host."""

    hostname: str | None
    username: str | None
    password: str | None = field(repr=False)
    port: int | None
    platform: str | None
    configuration: Config | None


class Session(Generic[A]):
    """Nornir's connection plugin, whatever answers; each has its own `begin`."""

    def __init__(self) -> None:
        self._asking: A | None = None

    @property
    def connection(self) -> A:
        """What answers; RuntimeError while the plugin isn't open."""
        if self._asking is None:
            raise RuntimeError("the session isn't open")
        return self._asking

    def open(
        self,
        hostname: str | None,
        username: str | None,
        password: str | None,
        port: int | None,
        platform: str | None,
        extras: dict[str, Any] | None = None,
        configuration: Config | None = None,
    ) -> None:
        """Begin the session, with what Nornir's inventory says of the host; raises what `begin` raises."""
        login = Login(hostname, username, password, port, platform, configuration)
        self._asking = self.begin(login, extras or {})

    def begin(self, login: Login, extras: dict[str, Any]) -> A:
        """What will answer; `extras` are those of the inventory's connection options."""
        raise NotImplementedError

    def close(self) -> None:
        """End the session."""
        self._asking = None
