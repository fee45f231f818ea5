"""Known host keys in OpenSSH's format, and the first meeting with a host.

Format: sshd(8), "SSH_KNOWN_HOSTS FILE FORMAT": host patterns with `*`, `?` and `!`, hashed names, the markers
`@cert-authority` (its keys are of no use here: no certificates are checked) and `@revoked`.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import os
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from fnmatch import translate
from functools import cached_property, lru_cache
from pathlib import Path
from re import fullmatch

from collector import folders, masking, openssh

_SSH_PORT = 22


class Standing(StrEnum):
    """How a presented host key stands to the known ones."""

    KNOWN = "known"
    UNKNOWN = "unknown"
    CHANGED = "changed"
    REVOKED = "revoked"


class NotPresented(Exception):  # noqa: N818 - named like its sisters
    """The host showed no key; the message is a clause that says why."""


@dataclass(frozen=True)
class HostKey:
    """A host's public key: the host's name in known_hosts (`[host]:port`, the plain host for port 22), type, base64."""

    host: str
    type: str
    base64: str

    @property
    def fingerprint(self) -> str:
        """The fingerprint as OpenSSH prints it: SHA256 over the key's bytes, base64 without padding."""
        digest = hashlib.sha256(base64.b64decode(self.base64)).digest()
        return "SHA256:" + base64.b64encode(digest).decode("ascii").rstrip("=")

    @property
    def line(self) -> str:
        """The line of a known_hosts file, without its ending."""
        return f"{self.host} {self.type} {self.base64}"


@dataclass(frozen=True)
class _Entry:
    marker: str
    names: str
    type: str
    base64: str

    @property
    def listed(self) -> tuple[str, ...] | None:
        """The hosts' names; None where they are hashed, or patterns."""
        return None if set("|*?!") & set(self.names) else tuple(self.names.lower().split(","))

    def is_of(self, host: str) -> bool:
        if self.names.startswith("|1|"):
            return _hashed(self.names, host)
        patterns = self.names.lower().split(",")
        if any(_fits(pattern[1:], host) for pattern in patterns if pattern.startswith("!")):
            return False
        return any(_fits(pattern, host) for pattern in patterns)


@dataclass(frozen=True)
class KnownHosts:
    """The entries of a known_hosts file; lines that aren't in its format count for nothing, as with OpenSSH."""

    entries: tuple[_Entry, ...] = ()

    @classmethod
    def read(cls, path: Path) -> KnownHosts:
        """The file's entries, none where there is no file; OSError where it can't be read."""
        return _read(path, _version(path))

    def types(self, host: str) -> tuple[str, ...]:
        """The types of the keys that are known of a host: those to ask it for first."""
        return tuple(entry.type for entry in self._of(host) if not entry.marker)

    def standing(self, key: HostKey) -> Standing:
        """How a presented key stands: changed where other keys of that host are known and this one isn't."""
        entries = self._of(key.host)
        if any(entry.marker == "@revoked" and entry.base64 == key.base64 for entry in entries):
            return Standing.REVOKED
        known = [entry for entry in entries if not entry.marker]
        if any((entry.type, entry.base64) == (key.type, key.base64) for entry in known):
            return Standing.KNOWN
        return Standing.CHANGED if known else Standing.UNKNOWN

    def _of(self, host: str) -> list[_Entry]:
        host = host.lower()
        return [*self._by_name.get(host, ()), *(entry for entry in self._of_many if entry.is_of(host))]

    @cached_property
    def _by_name(self) -> Mapping[str, Sequence[_Entry]]:
        """The entries that list names only: a fleet asks for each of its hosts, and looks at no other's line."""
        found = defaultdict[str, list[_Entry]](list)
        for entry in self.entries:
            for name in dict.fromkeys(entry.listed or ()):
                found[name].append(entry)
        return found

    @cached_property
    def _of_many(self) -> Sequence[_Entry]:
        """The entries with patterns or hashed names, which have to be tried."""
        return tuple(entry for entry in self.entries if entry.listed is None)


def default_path(environment: Mapping[str, str] = os.environ) -> Path:
    """The known_hosts file: READYPAIR_KNOWN_HOSTS, else the user's own."""
    named = environment.get("READYPAIR_KNOWN_HOSTS")
    return Path(named or "~/.ssh/known_hosts").expanduser()


def name_of(hostname: str, port: int) -> str:
    """A host's name in known_hosts."""
    return hostname if port == _SSH_PORT else f"[{hostname}]:{port}"


def present(hostname: str, port: int | None = None, *, path: Path, configuration: Path | None = None) -> HostKey:
    """The key that a host presents, by a key exchange without a login; by way of jump hosts where the user has them.

    Of several keys, one of a type that `path` knows of the host is asked for first. Raises NotPresented, and OSError
    where `path` can't be read.
    """
    try:
        route = openssh.route(hostname, port, configuration)
    except openssh.ConfigurationError as error:
        raise NotPresented(str(error)) from None
    host = name_of(route.hostname, route.port)
    return HostKey(host, *_exchanged(route, KnownHosts.read(path).types(host)))


def record(path: Path, keys: Iterable[HostKey]) -> list[HostKey]:
    """Append the keys that the file doesn't have; returns those that it didn't take.

    A key is not taken where another key of that host is recorded, or where it is marked revoked: whether the host was
    rebuilt or is somebody else is for the user to find out, who then removes the old line. Makes the file readable by
    its owner only where there is none. Raises OSError.
    """
    left = []
    folders.make_private(path.parent)
    for key in keys:
        standing = KnownHosts.read(path).standing(key)
        if standing is Standing.UNKNOWN:
            _append(path, key.line)
        elif standing is not Standing.KNOWN:
            left.append(key)
    return left


def _append(path: Path, line: str) -> None:
    with os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600), "r+b", buffering=0) as file:
        end = file.seek(0, os.SEEK_END)
        file.seek(max(end - 1, 0))
        unended = file.read(1) not in (b"", b"\n")
        left = (b"\n" if unended else b"") + line.encode() + b"\n"
        try:
            while left:
                left = left[file.write(left) :]
        except OSError as error:
            # Half a line would be another key of that host.
            with suppress(OSError):
                os.ftruncate(file.fileno(), end)
            raise OSError(error.errno, error.strerror, str(path)) from None


def _exchanged(route: openssh.Route, types: tuple[str, ...]) -> tuple[str, str]:
    from paramiko import SSHException, Transport

    seconds = 15.0
    try:
        connection = openssh.Connection(route, seconds)
    except OSError as error:
        raise NotPresented(f"nothing answers at {route}: {error.strerror or error}") from None
    try:
        transport = Transport(connection.socket)
        transport.banner_timeout = seconds
        prefer(transport, types)
        transport.start_client(timeout=seconds)
        key = transport.get_remote_server_key()
    except (SSHException, EOFError, OSError) as error:
        said = masking.quoted(connection.complaint()) or error or "it ended the connection"
        raise NotPresented(f"{route} showed no host key: {said}") from None
    finally:
        connection.close()
    return key.get_name(), key.get_base64()


def prefer(transport: object, types: Iterable[str]) -> None:
    """Have a paramiko transport ask for host keys of these types before others."""
    from paramiko import Transport

    assert isinstance(transport, Transport)
    wanted = set(types)
    # One RSA key serves several signature algorithms.
    wanted |= {"rsa-sha2-512", "rsa-sha2-256"} if "ssh-rsa" in wanted else set()
    options = transport.get_security_options()
    options.key_types = tuple(sorted(options.key_types, key=lambda type: type not in wanted))


def _version(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except FileNotFoundError:
        return None
    return status.st_mtime_ns, status.st_size


@lru_cache(maxsize=4)
def _read(path: Path, version: tuple[int, int] | None) -> KnownHosts:
    if version is None:
        return KnownHosts()
    lines = path.read_bytes().decode("utf-8", "replace").split("\n")
    return KnownHosts(tuple(entry for entry in map(_entry, lines) if entry))


def _entry(line: str) -> _Entry | None:
    words = line.split()
    if not words or words[0].startswith("#"):
        return None
    marker = words.pop(0) if words[0].startswith("@") else ""
    if len(words) < 3 or not _is_base64(words[2]):
        return None
    return _Entry(marker, *words[:3])


def _is_base64(text: str) -> bool:
    try:
        return bool(base64.b64decode(text, validate=True))
    except binascii.Error:
        return False


def _fits(pattern: str, host: str) -> bool:
    # Brackets stand for themselves in known_hosts, but not in fnmatch.
    return fullmatch(translate(pattern.replace("[", "[[]")), host) is not None


def _hashed(name: str, host: str) -> bool:
    try:
        salt, expected = (base64.b64decode(part, validate=True) for part in name.split("|")[2:4])
    except (ValueError, binascii.Error):
        return False
    return hmac.compare_digest(hmac.digest(salt, host.encode(), "sha1"), expected)
