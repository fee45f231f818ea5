"""A person at a terminal, for the tests of the simulated controllers: types, and reads what comes until it knows."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

import paramiko

from collector.simulated import ADDRESS, Fleet

_PATIENCE = 20.0


class Terminal:
    """An interactive shell on a simulated controller."""

    def __init__(self, channel: paramiko.Channel) -> None:
        self.channel = channel
        channel.settimeout(_PATIENCE)

    def read_to(self, end: str) -> str:
        """Everything up to and including `end`; AssertionError where the other side leaves before."""
        text = ""
        while not text.endswith(end):
            piece = self.channel.recv(65536)
            assert piece, f"the controller left after {text!r}"
            text += piece.decode("utf-8", "surrogateescape")
        return text

    def say(self, typed: str, end: str) -> str:
        """Type something and read to `end`."""
        self.channel.sendall(typed.encode())
        return self.read_to(end)

    def read_all(self) -> str:
        """Everything until the other side leaves."""
        text = b""
        while piece := self.channel.recv(65536):
            text += piece
        return text.decode("utf-8", "surrogateescape")


@contextmanager
def connected(fleet: Fleet, member: str, password: str | None = None) -> Iterator[paramiko.SSHClient]:
    """A connection whose host key was checked against the fleet's own list."""
    with paramiko.SSHClient() as client:
        client.set_missing_host_key_policy(paramiko.RejectPolicy())
        for line in fleet.known_hosts_text().splitlines():
            entry = paramiko.hostkeys.HostKeyEntry.from_line(line)
            assert entry is not None
            assert entry.key is not None
            client.get_host_keys().add(entry.hostnames[0], entry.key.get_name(), entry.key)
        client.connect(
            ADDRESS,
            fleet.ports[member],
            fleet.credentials.username,
            password or fleet.credentials.password,
            look_for_keys=False,
            allow_agent=False,
            timeout=_PATIENCE,
        )
        yield client


@contextmanager
def logged_in(fleet: Fleet, member: str) -> Iterator[Terminal]:
    """An interactive shell."""
    with connected(fleet, member) as client:
        yield Terminal(client.invoke_shell())


def wait_until(happened: object) -> None:
    """Wait until a callable says that it happened; AssertionError where it never does."""
    assert callable(happened)
    end = time.monotonic() + _PATIENCE
    while not happened():
        assert time.monotonic() < end, "it never happened"
        time.sleep(0.005)
