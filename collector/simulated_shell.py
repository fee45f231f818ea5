"""The shell of a simulated controller: what it answers (`Answers`), and how it says it (`Terminal`, `Shell`).

A simulated controller speaks a controller's language of its own accord, without the parsers: what is tried against
it must not share their mistakes.
"""

from __future__ import annotations

import asyncio
import re
import secrets
import time
from collections.abc import Awaitable, Callable, Collection
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Protocol

from collector import recording
from collector.capture import Capture, Ending
from parsers import Facts, catalogue

LIMITED_SHELL = frozenset({"show version", "show redundancy", "show romvar"})
"""A choice of commands for `Behaviour.only`: what the limited shell of a standby may be left with."""

_USER_LEVEL = frozenset({"show version"})
_OWN_STATE = re.compile(r"Current Software state\s*=\s*(\S*)", re.IGNORECASE)
_SETTING = re.compile(r"terminal (length|width) (\d{1,3})")
_INCLUDE = re.compile(r"(.*?) ?\| ?i(?:nclude)? (.+)")
_CLOCK = "show clock"
_CLOCK_TIME = re.compile(
    r"(?P<time>\d\d:\d\d:\d\d\.\d{3}) (?P<zone>[A-Z]{2,5}) (?P<day>[A-Z][a-z]{2} [A-Z][a-z]{2} {1,2}\d{1,2} \d{4})"
)
_LOG_LINE = "*Feb  5 21:14:09.132: %SYS-5-CONFIG_I: Configured from console by duty on vty0 (192.0.2.77)\n"
_REFUSAL = "% Invalid input detected at '^' marker."
_MORE = " --More-- "
_LONGEST_LINE = 4096
PIECE = 32768
_ENTER = b"\r\n"


@dataclass(frozen=True)
class Behaviour:
    """The switches of one simulated controller. Commands in collections are written as in the catalogue.

    `latency` (seconds) passes before each answer; `only` is what the account may run (None: everything recorded);
    `silent` commands are never answered; the first `cuts` answers are dropped in the middle together with the
    connection (those to `cut_command` only, where it is given); `user_level` starts at `>`, where `enable` asks for
    the secret if there is one; `greeting` is printed after login; `name` stands in the prompt in place of the
    member's, without its last sign, and `standby` overrides what the recording says of it.
    `silent_at_login`: it never says whether it lets in. `unreachable`: nothing listens. `deaf`: connections are taken
    and never spoken to. `locked` is what it says to every login before it hangs up. `strange_host_key`: it shows
    another host key than it is known by. `stubborn_pager`: no setting turns paging off. `one_byte`: every byte goes out
    alone. After every `log_every` lines of an answer stands a log line. `colours` are around every line of an answer,
    `coloured_prompt` around the prompt. `garbage`: bytes that are no UTF-8 at the end of every line. The answer to
    `flood_command` is repeated until it has so many `flood_bytes`. `clock_years` are added to what the clock shows.
    With the answer to `switches_over_at` the prompt, in all sessions, becomes that of the other role. In the middle of
    the answer to `pauses_at` stands the bare prompt, and the rest comes with what is typed next. With the answer to
    `renamed_at` the name in the prompt becomes `new_name`, in all sessions.
    """

    paging: bool = True
    latency: float = 0.0
    only: Collection[str] | None = None
    silent: Collection[str] = ()
    cuts: int = 0
    cut_command: str | None = None
    user_level: bool = False
    greeting: str = ""
    name: str | None = None
    standby: bool | None = None
    refuse_authentication: bool = False
    silent_at_login: bool = False
    silent_after_login: bool = False
    unreachable: bool = False
    deaf: bool = False
    locked: str = ""
    strange_host_key: bool = False
    stubborn_pager: bool = False
    one_byte: bool = False
    log_every: int = 0
    colours: bool = False
    coloured_prompt: bool = False
    garbage: bool = False
    flood_command: str | None = None
    flood_bytes: int = 0
    clock_years: int = 0
    switches_over_at: str | None = None
    pauses_at: str | None = None
    renamed_at: str | None = None
    new_name: str = "harbour-b"


class Hangup(Exception):  # noqa: N818 - no error: the user left, or the line was dropped on purpose
    """The session is over."""


class Drop(Hangup):
    """The connection is to be dropped without a farewell."""


class Answering(Protocol):
    """What a controller answers, and who it is, at the moment when it is asked."""

    def capture(self, command: str) -> Capture | None:
        """The answer to a command; None where it has none. Drop where it goes down meanwhile."""
        ...

    @property
    def standby(self) -> bool:
        """Whether its prompt is a standby's."""
        ...


@dataclass(frozen=True)
class Answers:
    """What a controller answers: the recording in a folder, which may have any name.

    The recorded clock goes on from `began` (a moment of time.monotonic), when it showed what was recorded; `today` it
    shows this day instead of the recorded one.
    """

    folder: Path
    began: float = field(default_factory=time.monotonic)
    today: bool = False

    def capture(self, command: str) -> Capture | None:
        """What was recorded for a command, whatever its case and spacing; None where nothing was."""
        row = catalogue.find(command)
        if row is None:
            row = self._beside_the_catalogue(command)
        if row is None:
            return None
        capture = recording.open_member(self.folder, self.folder.name).capture(row)
        if row.text == _CLOCK:
            elapsed = timedelta(seconds=time.monotonic() - self.began)
            since = days_since(capture.text) if self.today else timedelta()
            capture = replace(capture, text=later(capture.text, since + elapsed))
        return None if capture.ending is Ending.MISSING else capture

    @cached_property
    def standby(self) -> bool:
        """Whether the recording is that of a standby, by the state that comes first: a member's own."""
        capture = self.capture("show redundancy")
        own = _OWN_STATE.search(capture.text) if capture else None
        return own is not None and own[1].upper().startswith("STANDBY")

    def _beside_the_catalogue(self, command: str) -> catalogue.Command | None:
        """A row for a recorded command that the catalogue doesn't have yet: somebody is writing its template."""
        slug = catalogue.slug(command)
        if any(slug == known.slug for known in catalogue.COMMANDS) or not (self.folder / f"{slug}.txt").is_file():
            return None
        return catalogue.Command(command, "", Facts)


def later(text: str, elapsed: timedelta) -> str:
    """A text whose clocks, those that show milliseconds, have gone on."""
    return _CLOCK_TIME.sub(lambda shown: _later(shown, elapsed), text)


def days_since(text: str) -> timedelta:
    """How many days before today the first clock in a text stands; none where there is no clock."""
    shown = _CLOCK_TIME.search(text)
    try:
        day = datetime.strptime(shown["day"], "%a %b %d %Y").date() if shown else date.today()
    except ValueError:
        return timedelta()
    return date.today() - day


def _later(shown: re.Match[str], elapsed: timedelta) -> str:
    """What a clock shows some time later; what it shows that is no time stays."""
    try:
        then = datetime.strptime(f"{shown['time']} {shown['day']}", "%H:%M:%S.%f %a %b %d %Y") + elapsed
    except ValueError:
        return shown[0]
    return f"{then:%H:%M:%S}.{then.microsecond // 1000:03d} {shown['zone']} {then:%a %b} {then.day} {then:%Y}"


class Line(Protocol):
    """The wire: bytes from and to whoever is logged in."""

    async def receive(self) -> bytes:
        """Whatever has arrived; empty where the other side is gone."""
        ...

    async def send(self, data: bytes) -> None:
        """Send, waiting while the other side doesn't take it."""
        ...


class Terminal:
    """Keys in, echo and pages out."""

    def __init__(self, line: Line, page: int, piece: int = PIECE) -> None:
        self.page = page
        self._piece = piece
        self._line = line
        self._typed = bytearray()
        self._screen = bytearray()
        self._after_return = False

    def print(self, text: str) -> None:
        """Put text on the screen; it goes out with the next flush."""
        self._screen += _on_wire(text)

    async def flush(self) -> None:
        """Send what stands on the screen."""
        for start in range(0, len(self._screen), self._piece):
            await self._line.send(bytes(self._screen[start : start + self._piece]))
        self._screen.clear()

    async def key(self) -> int:
        """The next key; Hangup where the other side is gone. CR LF counts as one key, CR."""
        while True:
            while not self._typed:
                await self.flush()
                received = await self._line.receive()
                if not received:
                    raise Hangup
                self._typed += received
            key = self._typed.pop(0)
            follows, self._after_return = self._after_return and key == 0x0A, key == 0x0D
            if not follows:
                return 0x0D if key == 0x0A else key

    async def wait_for_key(self) -> None:
        """Send what stands on the screen, and wait until a key is typed; it stays to be read."""
        await self.flush()
        if not self._typed:
            received = await self._line.receive()
            if not received:
                raise Hangup
            self._typed += received

    async def read_line(self, echo: bool = True) -> str:
        """The line that is typed, edited by backspace, Ctrl-U and Ctrl-C as terminals do."""
        typed = bytearray()
        while (key := await self.key()) != 0x0D:
            if key in (0x08, 0x7F):
                if typed:
                    typed.pop()
                    self._screen += b"\b \b" if echo else b""
            elif key in (0x03, 0x15):
                self._screen += b"\b \b" * len(typed) if echo else b""
                typed.clear()
            elif key >= 0x20 and len(typed) < _LONGEST_LINE:
                typed.append(key)
                self._screen += bytes([key]) if echo else b""
        self._screen += _ENTER if echo else b""
        return typed.decode("utf-8", "surrogateescape")

    async def print_pages(self, text: str) -> None:
        """Put text on the screen, stopping for a key after each page."""
        if not self.page:
            self.print(text)
            return
        left = max(self.page - 1, 1)
        for line in re.findall(r"[^\n]*\n|[^\n]+", text):
            if left <= 0:
                left = await self._more()
                if not left:
                    return
            self.print(line)
            left -= 1

    async def _more(self) -> int:
        """Ask for more; how many lines to go on with."""
        self.print(_MORE)
        key = await self.key()
        back = "\b" * len(_MORE)
        self.print(back + " " * len(_MORE) + back)
        return {0x20: max(self.page - 1, 1), 0x0D: 1}.get(key, 0)


@dataclass
class Switched:
    """Whether the controller has changed its role or its name since it began, for all its sessions."""

    over: bool = False
    renamed: bool = False


@dataclass
class Shell:
    """One login's dialogue. `heard` is told every line that was received, `cut` whether this answer is to be cut."""

    member: str
    answers: Answering
    behaviour: Behaviour
    secret: str | None
    heard: Callable[[str], None]
    cut: Callable[[str], bool]
    terminal: Terminal
    pause: Callable[[float], Awaitable[None]] = asyncio.sleep
    switched: Switched = field(default_factory=Switched)
    privileged: bool = field(init=False)
    name: str | None = field(init=False)

    def __post_init__(self) -> None:
        self.privileged = not self.behaviour.user_level
        self.name = self.behaviour.name

    @property
    def prompt(self) -> str:
        """The prompt as it stands now."""
        standby = self.answers.standby if self.behaviour.standby is None else self.behaviour.standby
        own = self.behaviour.new_name if self.switched.renamed else self.member
        name = self.name or (f"{own}-stby" if standby is not self.switched.over else own)
        prompt = name + ("#" if self.privileged else ">")
        return f"\x1b[32m{prompt}\x1b[0m" if self.behaviour.coloured_prompt else prompt

    async def run(self) -> None:
        """Talk until the other side leaves; ends with Hangup."""
        if self.behaviour.silent_after_login:
            await self._say_nothing()
        if self.behaviour.greeting:
            self.terminal.print(_ended(self.behaviour.greeting))
        self.terminal.print("\n")
        while True:
            self.terminal.print(self.prompt)
            typed = await self.terminal.read_line()
            self.heard(typed)
            await self.obey(typed)

    async def obey(self, typed: str) -> None:
        """Answer one line."""
        line = " ".join(typed.split())
        word = line.lower()
        setting = _SETTING.fullmatch(word)
        if not line:
            return
        if word in ("exit", "quit", "logout"):
            raise Hangup
        if word in ("enable", "en"):
            await self._enable()
        elif setting and int(setting[2]) <= 512:
            if setting[1] == "length":
                self._set_page(int(setting[2]))
        else:
            await self._answer(line, typed)

    def _set_page(self, lines: int) -> None:
        if not self.behaviour.stubborn_pager:
            self.terminal.page = lines if self.behaviour.paging else 0

    async def _answer(self, line: str, typed: str) -> None:
        command, filtered = _split_filter(line)
        if _among(command, self.behaviour.silent):
            await self._say_nothing()
        if self.behaviour.latency:
            await self.terminal.flush()
            await self.pause(self.behaviour.latency)
        capture = self.answers.capture(command) if self._may(command) else None
        if capture is None and filtered and self._may(command):
            capture, filtered = self.answers.capture(line), None
        if capture is None:
            self._refuse(typed)
            return
        text = _ended(capture.text)
        if filtered:
            text = "".join(found for found in re.findall(r"[^\n]*\n", text) if filtered.search(found))
        if self.cut(line):
            self.terminal.print(text[: len(text) // 2])
            await self.terminal.flush()
            self.switched.over |= _is(line, self.behaviour.switches_over_at)
            raise Drop
        if capture.ending is Ending.CUT_OFF:
            self.terminal.print(capture.text)
            await self._say_nothing()
        text = self._disturbed(line, text)
        if _is(line, self.behaviour.pauses_at):
            half = text.rfind("\n", 0, len(text) // 2) + 1
            await self.terminal.print_pages(text[:half] + self.prompt)
            await self.terminal.wait_for_key()
            text = "\n" + text[half:]
        await self.terminal.print_pages(text)
        if _is(line, self.behaviour.switches_over_at):
            self.switched.over = True
        self.switched.renamed |= _is(line, self.behaviour.renamed_at)
        await self.terminal.flush()

    def _disturbed(self, line: str, text: str) -> str:
        """The answer with whatever the switches do to it."""
        command, _ = _split_filter(line)
        behaviour = self.behaviour
        if behaviour.clock_years and command.lower() == _CLOCK:
            text = later(text, timedelta(days=365.25 * behaviour.clock_years))
        if text and _is(line, behaviour.flood_command):
            text *= behaviour.flood_bytes // len(text) + 1
        if not (behaviour.log_every or behaviour.colours or behaviour.garbage):
            return text
        lines = text.splitlines()
        if behaviour.garbage:
            lines = [f"{line}\udcff\udcfe\udc80" for line in lines]
        if behaviour.colours:
            lines = [f"\x1b[1;32m{line}\x1b[0m" for line in lines]
        every = behaviour.log_every
        logs = [_LOG_LINE if every and not number % every else "" for number in range(1, len(lines) + 1)]
        return "".join(f"{line}\n{log}" for line, log in zip(lines, logs, strict=True))

    def _may(self, command: str) -> bool:
        allowed = self.behaviour.only
        if not self.privileged:
            allowed = _USER_LEVEL if allowed is None else _USER_LEVEL & set(allowed)
        return allowed is None or _among(command, allowed)

    async def _enable(self) -> None:
        if self.privileged:
            return
        for _ in range(3 if self.secret else 0):
            self.terminal.print("Password: ")
            given = await self.terminal.read_line(echo=False)
            self.terminal.print("\n")
            self.heard("********")
            if secrets.compare_digest(_bytes(given), _bytes(self.secret or "")):
                break
        else:
            if self.secret:
                self.terminal.print("% Bad secrets\n\n")
                return
        self.privileged = True

    def _refuse(self, typed: str) -> None:
        """Say where the first word stands that no command goes on with."""
        words = list(re.finditer(r"\S+", typed))
        wrong = next((at for at in range(len(words)) if not _known([w[0] for w in words[: at + 1]])), len(words) - 1)
        self.terminal.print(" " * (len(self.prompt) + words[wrong].start()) + f"^\n{_REFUSAL}\n\n")

    async def _say_nothing(self) -> None:
        await self.terminal.flush()
        while True:
            self.heard(await self.terminal.read_line(echo=False))


def _split_filter(line: str) -> tuple[str, re.Pattern[str] | None]:
    found = _INCLUDE.fullmatch(line)
    if found is None:
        return line, None
    try:
        return found[1], re.compile(found[2])
    except re.error:
        return line, None


def _known(words: list[str]) -> bool:
    """Whether some command of the catalogue begins with these words."""
    given = [word.lower() for word in words]
    return any(command.text.lower().split()[: len(given)] == given for command in catalogue.COMMANDS)


def _among(command: str, commands: Collection[str]) -> bool:
    return command.lower() in {other.lower() for other in commands}


def _is(command: str, wanted: str | None) -> bool:
    return wanted is not None and command.lower() == wanted.lower()


def _ended(text: str) -> str:
    return text if not text or text.endswith("\n") else text + "\n"


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogateescape")


def _on_wire(text: str) -> bytes:
    return re.sub(rb"\r?\n", _ENTER, _bytes(text))
