"""The connection plugin that asks a controller over SSH, built on netmiko. It can only read.

netmiko makes the connection; its own waits, its clean-up (which types) and its writing are left out: what is typed and
what is waited for is in collector.dialogue.
"""

from __future__ import annotations

import re
import socket
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from collector import hostkeys, masking, openssh
from collector.asking import Login, Session
from collector.capture import MOST_BYTES, Capture, Ending
from collector.credentials import Credentials
from collector.dialogue import Broken, Dialogue, Lost, NotInCatalogue, OutOfStep, Unechoed, change_of, check
from collector.hostkeys import HostKey, KnownHosts, Standing
from parsers import catalogue
from parsers.catalogue import Command

if TYPE_CHECKING:
    import paramiko
    from nornir.core import Nornir

    from inventory.pairs import Pair

__all__ = ["NotInCatalogue", "NotReached", "Options", "SshMember", "SshSession", "prepare"]

CONNECTION = "ssh"
"""The plugin's name in Nornir's register and in `connection_options`."""


_CLOSED = "the session was closed"

# A controller that leaves so many commands in a row without a whole answer isn't asked the rest.
_MOST_IN_A_ROW = 3


class NotReached(Exception):  # noqa: N818 - named like its sisters
    """There is no session with the member; the message is a clause that says why."""


@dataclass(frozen=True)
class Options:
    """How a session is made; times in seconds. Any of them may stand in the inventory's `extras` for `ssh`.

    `connect_seconds` is for the connection, `greeting_seconds` for the other side's first words and each step of the
    login, `prompt_seconds` for the first prompt and the terminal settings. `patience` multiplies the time limits of
    all commands. `most_bytes` is the longest answer that is taken. `key_file` is tried besides the user's own keys.
    """

    member: str
    credentials: Credentials | None = None
    known_hosts: Path | None = None
    key_file: str | None = None
    connect_seconds: float = 10.0
    greeting_seconds: float = 15.0
    prompt_seconds: float = 20.0
    keepalive_seconds: float = 15.0
    patience: float = 1.0
    most_bytes: int = MOST_BYTES


def prepare(nornir: Nornir, pairs: Sequence[Pair], credentials: Mapping[str, Credentials], **options: Any) -> None:
    """Give the members' hosts what their sessions need; `options` as in Options, over those of the inventory."""
    from nornir.core.inventory import ConnectionOptions

    for member in (member for pair in pairs for member in pair.members):
        host = nornir.inventory.hosts[member.name]
        given = host.get_connection_parameters(CONNECTION)
        extras = {**(given.extras or {}), **options, "member": member.name, "credentials": credentials[member.name]}
        own = host.connection_options.get(CONNECTION) or ConnectionOptions()
        own.extras = extras
        host.connection_options[CONNECTION] = own


class SshSession(Session["SshMember"]):
    """Nornir's connection plugin; `extras` are the fields of Options. It may be closed while it is being opened."""

    def __init__(self) -> None:
        super().__init__()
        self._member: SshMember | None = None
        self._closed = False

    def begin(self, login: Login, extras: dict[str, Any]) -> SshMember:
        """Log in; NotReached where that can't be done."""
        options = _options(extras)
        config_file = Path(login.configuration.ssh.config_file).expanduser() if login.configuration else None
        try:
            route = openssh.route(login.hostname or options.member, login.port, config_file)
        except openssh.ConfigurationError as error:
            raise NotReached(str(error)) from None
        credentials = options.credentials or Credentials(login.username or route.username or "", login.password)
        self._member = member = SshMember(options, route, credentials, login.platform)
        if self._closed:
            raise NotReached(_CLOSED)
        member.open()
        return member

    def close(self) -> None:
        """End the session, at whatever point it is; whoever opens it gets NotReached."""
        self._closed = True
        if self._member is not None:
            self._member.close()
        super().close()


class SshMember:
    """A member over SSH: one session, taken up once more should it be lost."""

    def __init__(self, options: Options, route: openssh.Route, credentials: Credentials, platform: str | None) -> None:
        self._options = options
        self._route = route
        self._credentials = credentials
        self._platform = platform
        self._login: _Login | None = None
        self._was_lost = False
        self._over = ""
        self._broken_in_a_row = 0
        self._prompt = b""
        # The commands that were answered, from which on by this login, and those whose answers don't count after all.
        self._answered: list[str] = []
        self._since_login = 0
        self._doubted: dict[str, str] = {}

    def open(self) -> None:
        """Log in; NotReached where that can't be done."""
        self._login = login = _Login(self._options, self._route, self._credentials, self._platform)
        try:
            if self._over:
                raise NotReached(self._over)
            login.open()
        except NotReached:
            self._drop()
            raise

    def close(self) -> None:
        """End the session; whoever waits for an answer, or for the login, wakes up and gets none."""
        self._over = self._over or _CLOSED
        self._drop()

    def ask(self, command: Command) -> Capture:
        """The answer to a command; what can't be had is a capture that says why.

        NotInCatalogue, before anything is sent, for a command that a sweep may not send.
        """
        check(command.text)
        return masking.masked(self._answer(command), _own(self._credentials))

    def _answer(self, command: Command) -> Capture:
        """The answer as it came."""
        while not self._over:
            started, clock = datetime.now().astimezone(), time.monotonic()
            text, reason = "", ""
            try:
                dialogue = self._dialogue()
                self._look_at_prompt(dialogue)
                answer = dialogue.ask(command.text, command.seconds * self._options.patience)
                text, reason = answer.text, answer.changed
                self._broken_in_a_row = 0
                self._look_at_prompt(dialogue)
                self._answered.append(command.text)
            except Lost as lost:
                self._drop()
                if not self._was_lost and not self._over:
                    self._was_lost = True
                    continue
                self._over = self._over or "the session was lost twice"
                text, reason = lost.text, self._over
            except Broken as broken:
                self._doubt_by(broken)
                # A late answer must find nobody: the next command gets a session of its own.
                self._drop()
                text, reason = broken.text, str(broken)
                self._broken_in_a_row += 1
                if self._broken_in_a_row == _MOST_IN_A_ROW:
                    self._over = f"it answered none of three commands in a row: {broken}"
            except NotReached as error:
                self._over = f"the session had ended and was not to be had again: {error}"
                break
            return self._capture(command, text, reason, started, time.monotonic() - clock)
        return Capture(self._options.member, command.text, ending=Ending.MISSING, reason=self._over)

    def renewed(self) -> dict[str, Capture]:
        """New answers, by command, in place of those that were given before a login that isn't the last one.

        Behind the same address, name and role there may have been a reload, or there may be another controller.
        """
        found = {}
        for _ in range(_MOST_IN_A_ROW):
            for command in self._stale():
                found[command.text] = self.ask(command)
        return found

    def _stale(self) -> list[Command]:
        """What is asked again after a new login, and wasn't since; none where nobody answers any more."""
        if self._over:
            return []
        last = {text: at for at, text in enumerate(self._answered)}
        told = (command for command in catalogue.again() if command.text not in self._doubted)
        return [command for command in told if last.get(command.text, self._since_login) < self._since_login]

    def doubted(self) -> dict[str, str]:
        """Which answers since this was last asked don't count after all, and why; looks whether the last one had ended.

        Of a member that stopped answering, nobody knows whether it is still in the state that it told. What is asked
        from then on may be the next round of a session that stays open.
        """
        login, silence = self._login, self._over if self._over != _CLOSED else ""
        if login is not None and self._answered and not self._over:
            try:
                login.dialogue.settle(self._options.prompt_seconds)
                self._look_at_prompt(login.dialogue)
            except Broken as broken:
                self._doubt_by(broken)
                self._drop()
                silence = str(broken)
        if silence:
            told = [command.text for command in catalogue.momentary() if command.text in self._answered]
            self._doubt(told, f"it stopped answering later: {silence}")
        doubted, self._doubted = self._doubted, {}
        self._answered.clear()
        self._since_login = 0
        return doubted

    def _look_at_prompt(self, dialogue: Dialogue) -> None:
        """Take back all that was told under another name or in another role, be it by another login."""
        if change := change_of(self._prompt or dialogue.prompt, dialogue.prompt):
            self._doubt(self._answered, change)
        self._prompt = dialogue.prompt

    def _doubt_by(self, broken: Broken) -> None:
        """Take back what a broken session makes doubtful of its earlier answers."""
        if isinstance(broken, OutOfStep):
            self._doubt(self._answered[self._since_login :], str(broken))
        elif isinstance(broken, Unechoed):
            self._doubt(
                self._answered[self._since_login :][-1:],
                f"what looked like its end may have been none: {broken} to what followed",
            )

    def _doubt(self, commands: Sequence[str], reason: str) -> None:
        # The first reason is what began it.
        self._doubted = dict.fromkeys(commands, masking.phrase(reason, _own(self._credentials))) | self._doubted

    def _capture(self, command: Command, text: str, reason: str, started: datetime, seconds: float) -> Capture:
        ending = Ending.COMPLETE if not reason else Ending.CUT_OFF if text else Ending.MISSING
        return Capture(self._options.member, command.text, text, ending, reason, started, round(seconds, 3))

    def _dialogue(self) -> Dialogue:
        if self._login is None:
            self.open()
        login = self._login
        if login is None:
            raise NotReached(self._over)
        return login.dialogue

    def _drop(self) -> None:
        login, self._login = self._login, None
        self._since_login = len(self._answered)
        if login is not None:
            login.close()


class _Login:
    """One login: connection, netmiko's driver, and once it is open, dialogue."""

    dialogue: Dialogue

    def __init__(self, options: Options, route: openssh.Route, credentials: Credentials, platform: str | None) -> None:
        self._options = options
        self._route = route
        self._credentials = credentials
        self._platform = platform
        self._driver: Any = None
        self._connection: openssh.Connection | None = None
        self._closed = False

    def open(self) -> None:
        """Log in; NotReached says why that can't be done."""
        options, route, credentials = self._options, self._route, self._credentials
        driver_class = _driver_class(self._platform)
        known = _known_hosts(options)
        try:
            self._connection = connection = openssh.Connection(route, options.connect_seconds)
        except OSError as error:
            raise NotReached(_unconnected(error, route, options)) from None
        try:
            if self._closed:
                raise EOFError
            self._driver = _driver(driver_class, options, route, credentials, connection.socket, known)
            self._driver.establish_connection()
            channel: paramiko.Channel = self._driver.remote_conn
            self.dialogue = Dialogue(channel, secret=credentials.secret, most_bytes=options.most_bytes)
            self.dialogue.begin(options.prompt_seconds)
        except Exception as error:
            reason = _unopened(error, route, options, credentials, connection)
            self.close()
            raise NotReached(masking.phrase(reason, _own(credentials))) from None

    def close(self) -> None:
        """End it without a word typed, at whatever point it is."""
        self._closed = True
        with suppress(Exception):
            self._driver.remote_conn.close()
        # Closed by now, the transport's thread needn't be waited for.
        if self._connection is not None:
            self._connection.close()
        if self._driver is not None:
            with suppress(Exception):
                self._driver.disconnect()


class _HostKeyRefused(Exception):  # noqa: N818
    pass


class _SaidNothing(Exception):  # noqa: N818
    pass


def _driver(
    driver_class: Any,
    options: Options,
    route: openssh.Route,
    credentials: Credentials,
    connected: socket.socket,
    known: KnownHosts,
) -> Any:
    """netmiko's driver, ready to connect: strict about host keys, and without anything that types by itself."""
    driver = driver_class(
        device_type=f"{driver_class.__name__} over SSH",
        host=route.hostname,
        port=route.port,
        username=credentials.username,
        password=credentials.password,
        secret=credentials.secret or "",
        allow_agent=credentials.keys,
        ssh_strict=True,
        sock=connected,
        # The connection is there already: to netmiko this is the time in which the other side has to introduce itself.
        conn_timeout=options.greeting_seconds,
        banner_timeout=options.greeting_seconds,
        auth_timeout=options.greeting_seconds,
        keepalive=options.keepalive_seconds,
        auto_connect=False,
    )
    host = hostkeys.name_of(route.hostname, route.port)
    # Given at once, netmiko would insist on a key file beside the agent's keys and the user's default ones.
    driver.use_keys = credentials.keys
    driver.key_file = [str(path) for path in credentials.key_files] or None
    driver.key_policy = _strict(known)
    driver._get_ssh_client_instance = lambda: _client(known.types(host))
    driver.special_login_handler = driver.cleanup = lambda *_, **__: None
    driver.write_channel = _never
    return driver


def _never(*_: object) -> None:
    raise NotInCatalogue("only collector.dialogue writes to a controller")


def _own(credentials: Credentials) -> frozenset[str]:
    """What a controller may echo and nobody may read."""
    return masking.maskable((credentials.password, credentials.secret))


def _strict(known: KnownHosts) -> paramiko.MissingHostKeyPolicy:
    import paramiko

    class Strict(paramiko.MissingHostKeyPolicy):
        def missing_host_key(self, client: paramiko.SSHClient, hostname: str, key: paramiko.PKey) -> None:
            standing = known.standing(HostKey(hostname, key.get_name(), key.get_base64()))
            if standing is not Standing.KNOWN:
                raise _HostKeyRefused(_REFUSED_KEYS[standing])

    return Strict()


_REFUSED_KEYS = {
    Standing.UNKNOWN: "its host key isn't known: run `readypair trust`",
    Standing.CHANGED: "its host key has changed: find out why before you remove the old one from the known hosts",
    Standing.REVOKED: "its host key is marked as revoked in the known hosts",
}


def _client(types: tuple[str, ...]) -> paramiko.SSHClient:
    """A client without host keys of its own, so that the policy is asked about every key."""
    import paramiko

    made: list[paramiko.Transport] = []

    def transport(connected: Any, **settings: Any) -> paramiko.Transport:
        made.append(paramiko.Transport(connected, **settings))
        hostkeys.prefer(made[-1], types)
        return made[-1]

    class Client(paramiko.SSHClient):
        def connect(self, *given: Any, **named: Any) -> None:
            named["transport_factory"] = transport
            try:
                super().connect(*given, **named)
            except paramiko.SSHException as error:
                # Whichever clock ran out first: paramiko's words for it are about itself.
                waited = made and (made[-1].is_active() or isinstance(error.__context__, TimeoutError))
                if made and isinstance(error, paramiko.AuthenticationException) and (why := _of_the_account(made[-1])):
                    error.add_note(why)
                if waited and not made[-1].remote_version:
                    raise _SaidNothing from None
                raise

    return Client()


@cache
def _driver_class(platform: str | None) -> Any:
    """netmiko's class for a platform, by nornir-netmiko's own table."""
    from netmiko import ssh_dispatcher
    from nornir_netmiko.connections.netmiko import napalm_to_netmiko_map

    if not platform:
        raise NotReached("the inventory doesn't say its platform, such as ios")
    name = napalm_to_netmiko_map.get(platform, platform)
    try:
        found = ssh_dispatcher(name)
    except KeyError:
        raise NotReached(f"netmiko has no driver for the platform {platform!r} that the inventory names") from None
    if name.endswith(("_telnet", "_serial")):
        raise NotReached(f"the platform {platform!r} that the inventory names isn't one over SSH")
    return found


def _options(extras: Mapping[str, Any]) -> Options:
    known = {field.name for field in fields(Options)}
    if unknown := sorted(set(extras) - known):
        raise NotReached(f"the inventory's connection_options.ssh.extras has keys that mean nothing: {unknown}")
    if not extras.get("member"):
        raise NotReached("the extras of its session don't name the member")
    return Options(**extras)


def _known_hosts(options: Options) -> KnownHosts:
    path = options.known_hosts or hostkeys.default_path()
    try:
        return KnownHosts.read(path)
    except OSError as error:
        raise NotReached(f"the known hosts in {path} can't be read: {error.strerror}") from None


def _unconnected(error: OSError, route: openssh.Route, options: Options) -> str:
    """Why there is no connection, for somebody who is tired."""
    if route.jump:
        return f"the command that leads to {route} by the jump host can't be started: {error.strerror}"
    if isinstance(error, ConnectionRefusedError):
        return f"nothing listens at {route}"
    if isinstance(error, TimeoutError):
        return f"no answer from {route} within {options.connect_seconds:g} s"
    if isinstance(error, socket.gaierror):
        return f"the name {route.hostname!r} has no address"
    return f"{route} can't be reached: {error.strerror or error}"


# The only marks that tell them from a refusal: paramiko/auth_handler.py, wait_for_response.
_AUTHENTICATION_TIMEOUT = "Authentication timeout."
_AUTHENTICATION_ENDED = "Authentication failed: transport shut down or saw EOF"
# What a controller may say before a login, in lines that are no notice to everybody (RFC 4252, section 5.4).
_OF_THE_ACCOUNT = re.compile(r"\b(?:account|user|password)\b.*\b(?:lock|disabl|expir|block)", re.IGNORECASE)


def _of_the_account(transport: paramiko.Transport) -> str:
    """The line in which a controller that refused the login said why; empty where there is none."""
    # Its own get_banner tells nothing once the other side has hung up.
    said: bytes = getattr(transport.auth_handler, "banner", None) or b""
    lines = (line.strip() for line in said.decode("utf-8", "replace").splitlines())
    found = next((line[:80] for line in lines if _OF_THE_ACCOUNT.search(line) and line.isprintable()), "")
    return masking.quoted(found)


def _refused(error: Exception, route: openssh.Route, options: Options, credentials: Credentials) -> str:
    """What became of a login that wasn't let in."""
    if str(error) == _AUTHENTICATION_TIMEOUT:
        return f"the controller at {route} didn't say within {options.greeting_seconds:g} s whether it lets in"
    what = "by key and by password" if credentials.keys and credentials.password else ""
    what = what or ("by key, and there is no password" if credentials.keys else "by password")
    notes: list[str] = getattr(error, "__notes__", [])
    did = "hung up on" if str(error) == _AUTHENTICATION_ENDED and not notes else "refused"
    why = f": it says `{notes[0]}`" if notes else ""
    return f"the controller at {route} {did} the login of {credentials.username!r} {what}{why}"


def _unopened(
    error: Exception, route: openssh.Route, options: Options, credentials: Credentials, by: openssh.Connection
) -> str:
    """Why there is no session though there is a connection."""
    import paramiko

    # netmiko wraps what paramiko says into a page of advice.
    cause = error.__context__ if type(error).__module__.startswith("netmiko") and error.__context__ else error
    if isinstance(cause, Broken):
        return f"the controller at {route} gave no session: {cause}"
    if isinstance(cause, _HostKeyRefused):
        return f"the controller at {route} was not talked to: {cause}"
    if isinstance(cause, paramiko.PasswordRequiredException):
        return f"a key file for {route} is locked by a passphrase: load it into the SSH agent"
    if isinstance(cause, paramiko.AuthenticationException):
        return _refused(cause, route, options, credentials)
    if complaint := by.complaint():
        return f"the jump host didn't lead to {route}: {masking.quoted(complaint)}"
    if isinstance(cause, _SaidNothing):
        return f"{route} took the connection and said nothing within {options.greeting_seconds:g} s"
    if isinstance(cause, TimeoutError):
        return f"the controller at {route} didn't answer in time while the session was being made"
    said = (
        f": {masking.quoted(str(cause))}"
        if isinstance(cause, paramiko.SSHException | EOFError | OSError) and str(cause)
        else ""
    )
    return f"the controller at {route} broke off while the session was being made{said or f' ({type(cause).__name__})'}"
