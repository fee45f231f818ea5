"""The user's OpenSSH configuration: address, port, user, key files and jump hosts of a member."""

from __future__ import annotations

import logging
import shlex
import socket
import subprocess
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import IO, TYPE_CHECKING

from collector import masking

if TYPE_CHECKING:
    from paramiko import SSHConfig

_PORT = 22
# How long the jump host's command has to end, in seconds.
_PATIENCE = 1.0

# paramiko logs a traceback for every connection that ends; ours are told in a clause by whoever needed them.
if logging.getLogger("paramiko.transport").level == logging.NOTSET:
    logging.getLogger("paramiko.transport").setLevel(logging.CRITICAL)
# Whoever turns its log on is told what controllers say before a login, and at its end.
logging.getLogger("paramiko.transport").addFilter(masking.Masking())


class ConfigurationError(Exception):
    """The OpenSSH configuration can't be used; the message names the file."""


@dataclass(frozen=True)
class Route:
    """How a member is reached. `jump` is the command that leads there by way of jump hosts, empty without any."""

    hostname: str
    port: int = _PORT
    username: str | None = None
    key_files: tuple[Path, ...] = ()
    jump: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"[{self.hostname}]:{self.port}" if ":" in self.hostname else f"{self.hostname}:{self.port}"


def route(hostname: str, port: int | None = None, configuration: Path | None = None) -> Route:
    """The route to an address of the inventory by a configuration file; one that doesn't exist says nothing.

    The inventory's port wins over the configuration's unless it is SSH's own. `Include` isn't followed.
    """
    if configuration is None:
        return Route(hostname, port or _PORT)
    try:
        own_port = port if port not in (None, _PORT) else None
        found = _parsed(configuration, _version(configuration), own_port).lookup(hostname)
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigurationError(f"{configuration}: can't be read: {error}") from None
    except Exception as error:  # paramiko raises what it likes for a file that it doesn't understand
        said = masking.quoted(str(error))
        raise ConfigurationError(f"{configuration}: isn't a configuration that can be used: {said}") from None
    target = found.get("hostname", hostname)
    port = int(found.get("port", _PORT))
    keys = tuple(path for path in (Path(name).expanduser() for name in found.get("identityfile", [])) if path.is_file())
    return Route(target, port, found.get("user"), keys, _jump(found, configuration, target, port))


def _jump(found: dict[str, str], configuration: Path, hostname: str, port: int) -> tuple[str, ...]:
    if command := found.get("proxycommand"):
        return tuple(shlex.split(command))
    hops = [hop.strip() for hop in found.get("proxyjump", "").split(",") if hop.strip()]
    if not hops or hops == ["none"]:
        return ()
    target = f"[{hostname}]:{port}" if ":" in hostname else f"{hostname}:{port}"
    before = ("-J", ",".join(hops[:-1])) if hops[1:] else ()
    last = hops[-1] if hops[-1].startswith("ssh://") else f"ssh://{hops[-1]}"
    # Nobody sits at the jump host's prompt: without BatchMode it would wait for an answer for ever.
    return ("ssh", "-F", str(configuration), "-o", "BatchMode=yes", *before, "-W", target, last)


def _version(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except FileNotFoundError:
        return 0


@lru_cache(maxsize=64)
def _parsed(path: Path, version: int, port: int | None) -> SSHConfig:
    from paramiko import SSHConfig

    # The first value counts, and it is also the one that commands are told as %p.
    text = path.read_text(encoding="utf-8") if version else ""
    return SSHConfig.from_text(f"Port {port}\n{text}" if port else text)


class Connection:
    """A connection to a member's SSH port, direct or by way of jump hosts. OSError where there is none."""

    def __init__(self, route: Route, seconds: float) -> None:
        self._said: IO[bytes] | None = None
        self._jump: subprocess.Popen[bytes] | None = None
        if not route.jump:
            self.socket = socket.create_connection((route.hostname, route.port), seconds)
            self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return
        # A socket pair, unlike pipes, tells at once when the jump host's command has ended.
        self.socket, theirs = socket.socketpair()
        self._said = tempfile.TemporaryFile()  # noqa: SIM115 - it lives as long as the connection
        try:
            wire, said = theirs.fileno(), self._said.fileno()
            # The user's own command, which has no use for readypair's passwords.
            self._jump = subprocess.Popen(  # noqa: S603
                route.jump, stdin=wire, stdout=wire, stderr=said, env=masking.environment_without()
            )
        except OSError:
            self.close()
            raise
        finally:
            theirs.close()

    def complaint(self) -> str:
        """The last line that the way by the jump hosts complained with; empty without any."""
        if self._said is None:
            return ""
        with suppress(subprocess.TimeoutExpired):
            if self._jump:
                self._jump.wait(1)
        try:
            self._said.seek(0)
            lines = self._said.read().decode("utf-8", "replace").split("\n")
        except ValueError:
            # Whoever gave the connection up has closed this with it.
            return ""
        return next((line.strip() for line in reversed(lines) if line.strip()), "")

    def close(self) -> None:
        """End the connection at once: whoever waits for it wakes up."""
        with suppress(OSError):
            self.socket.shutdown(socket.SHUT_RDWR)
        self.socket.close()
        if self._jump:
            self._jump.terminate()
            try:
                self._jump.wait(_PATIENCE)
            except subprocess.TimeoutExpired:
                self._jump.kill()
                self._jump.wait()
        if self._said:
            self._said.close()
