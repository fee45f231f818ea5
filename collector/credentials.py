"""Who readypair logs in as: user names and secrets, from where the README says and in that order."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from collector import masking, openssh
from inventory.pairs import Pair

if TYPE_CHECKING:
    from nornir.core import Nornir

_SERVICE = "readypair"


class CredentialsError(Exception):
    """There are no credentials to be had; the message says what to set."""


@dataclass(frozen=True)
class Credentials:
    """What one member is logged in to with; `secret` is the enable secret.

    With `keys`, the SSH agent's keys, the key files and the user's default ones are tried, before the password.
    """

    username: str
    password: str | None = field(default=None, repr=False)
    secret: str | None = field(default=None, repr=False)
    keys: bool = False
    key_files: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Known:
    """What the inventory and the OpenSSH configuration know of a member's login."""

    username: str | None = None
    password: str | None = field(default=None, repr=False)
    key_files: tuple[Path, ...] = ()


def of_pairs(nornir: Nornir, pairs: Sequence[Pair]) -> dict[str, Credentials]:
    """The credentials of all members of these pairs, by member; asks at most once a user name. CredentialsError."""
    configuration = Path(nornir.config.ssh.config_file).expanduser()
    known = {}
    for member in (member for pair in pairs for member in pair.members):
        given = nornir.inventory.hosts[member.name].get_connection_parameters("ssh")
        try:
            route = openssh.route(given.hostname or member.hostname, given.port, configuration)
        except openssh.ConfigurationError as error:
            raise CredentialsError(str(error)) from None
        own = [Path(str(file)).expanduser() for file in [(given.extras or {}).get("key_file")] if file]
        known[member.name] = Known(given.username or route.username, given.password, (*own, *route.key_files))
    return resolve(known)


def resolve(
    members: Mapping[str, Known],
    *,
    environment: Mapping[str, str] = os.environ,
    has_keys: Callable[[], bool] | None = None,
    keyring: Callable[[str], str | None] | None = None,
    prompt: Callable[[str], str] | None = None,
) -> dict[str, Credentials]:
    """The credentials of each member.

    User name: READYPAIR_USERNAME, what is known of the member, the login name. Password: READYPAIR_PASSWORD, the
    inventory's, else the SSH agent or a key file, the system keyring, a prompt; there is no prompt where there are
    keys. `has_keys`, `keyring` and `prompt` stand in for the system's own. Raises CredentialsError.
    """
    has_keys = has_keys or _has_keys
    passwords = _Passwords(keyring or _from_keyring, prompt or _prompted)
    secret = _secret(environment)
    found = {}
    for name, known in members.items():
        username = environment.get("READYPAIR_USERNAME") or known.username or getpass.getuser()
        password = environment.get("READYPAIR_PASSWORD") or known.password
        # A password that was given is the one to use: a controller counts every key that it refuses as a failure.
        keys = not password and (bool(known.key_files) or has_keys())
        if not password:
            password = passwords.stored(username) if keys else passwords.stored(username) or passwords.asked(username)
        masking.beware(password, secret)
        found[name] = Credentials(username, password, secret, keys, known.key_files if keys else ())
    return found


def not_maskable(found: Iterable[Credentials]) -> list[str]:
    """A sentence for each kind of secret that can't be taken out of what controllers say; none names the secret."""
    reasons = {
        (what, masking.why_not(secret))
        for own in found
        for what, secret in (("password", own.password), ("enable secret", own.secret))
        if secret
    }
    return [
        f"the {what} {why}, so it can't be taken out of what they say; give readypair's account another one"
        for what, why in sorted((what, why) for what, why in reasons if why is not None)
    ]


class _Passwords:
    """Looks up and asks for each user's password at most once."""

    def __init__(self, keyring: Callable[[str], str | None], prompt: Callable[[str], str]) -> None:
        self._keyring = keyring
        self._prompt = prompt
        self._stored: dict[str, str | None] = {}
        self._asked: dict[str, str] = {}

    def stored(self, username: str) -> str | None:
        if username not in self._stored:
            self._stored[username] = self._keyring(username)
        return self._stored[username]

    def asked(self, username: str) -> str:
        if username not in self._asked:
            self._asked[username] = self._prompt(username)
        return self._asked[username]


def _secret(environment: Mapping[str, str]) -> str | None:
    secret = environment.get("READYPAIR_SECRET") or None
    if secret and not secret.isprintable():
        raise CredentialsError("READYPAIR_SECRET holds a line break or another control character; set it anew")
    return secret


def _has_keys() -> bool:
    if any(Path(f"~/.ssh/id_{kind}").expanduser().is_file() for kind in ("ed25519", "ecdsa", "rsa")):
        return True
    if not os.environ.get("SSH_AUTH_SOCK"):
        return False
    from paramiko import Agent, SSHException

    try:
        agent = Agent()
        try:
            return bool(agent.get_keys())
        finally:
            agent.close()
    except (SSHException, OSError):
        return False


def _from_keyring(username: str) -> str | None:
    try:
        import keyring

        return keyring.get_password(_SERVICE, username)
    except Exception:  # a keyring that is missing, locked or broken raises whatever its backend does
        return None


def _prompted(username: str) -> str:
    if not (sys.stdin and sys.stdin.isatty() and sys.stderr.isatty()):
        raise CredentialsError(
            f"there is no password for {username!r} and nobody to ask: set READYPAIR_PASSWORD, load a key into the "
            f"SSH agent, or store it with `keyring set {_SERVICE} {username}`"
        )
    try:
        password = getpass.getpass(f"Password of {username}: ", sys.stderr)
    except EOFError:
        password = ""
    if not password:
        raise CredentialsError(f"no password was given for {username!r}")
    return password
