"""One terminal session with a controller: what is typed, and where each answer ends.

No wait here is a pause: every one ends with the bytes that it waits for. Those that a controller needs are kept: for
the first prompt, behind whatever banner; for the prompt after each terminal setting; for a command's echo, which says
that what follows is its own answer; and for the prompt alone on the last line, which says that the answer has ended.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Protocol

from parsers import catalogue, terminal

ROLE_CHANGED = "the controller changed its role while it answered"
NAME_CHANGED = "another name answered than before"
_OUT_OF_STEP = "its answers no longer matched what was asked: an earlier answer went on"

_PIECE = 65536
# Echo, prompt and log lines around it are looked for in this many bytes.
_ECHO_WITHIN = 65536
_TAIL = 4096
# So much of a line is quoted in a reason.
_QUOTED = 60
# A pager waits for ever; a line that only looks like its question is followed by more at once.
_PAGER_PATIENCE = 1.0


class NotInCatalogue(Exception):  # noqa: N818 - named for what it says, like its sisters in parsers
    """The line is neither a command of the catalogue that a sweep may send nor a terminal setting; nothing was sent."""


class Broken(Exception):  # noqa: N818 - the state of a session
    """The session can't go on. `text` is what was printed of the answer; the message is a clause that says why."""

    def __init__(self, reason: str, text: str = "") -> None:
        super().__init__(reason)
        self.text = text


class Lost(Broken):
    """The other side is gone."""


class OutOfStep(Broken):
    """What came belongs to no command or to an earlier one, so whose the earlier answers were isn't certain either."""


class Unechoed(Broken):
    """The command was never echoed: what was taken for the prompt before it may have been a line of an answer."""


class Wire(Protocol):
    """The part of paramiko's channel that a dialogue uses."""

    def recv(self, nbytes: int) -> bytes: ...  # noqa: D102

    def recv_ready(self) -> bool: ...  # noqa: D102

    def sendall(self, s: bytes) -> object: ...  # noqa: D102

    def settimeout(self, timeout: float | None) -> None: ...  # noqa: D102


@dataclass(frozen=True)
class Answer:
    """A command's answer exactly as printed; `changed` says how the prompt changed meanwhile, empty if not."""

    text: str
    changed: str = ""


class Dialogue:
    """A terminal session; after `Broken` it is of no use any more."""

    def __init__(self, wire: Wire, *, secret: str | None = None, most_bytes: int) -> None:
        self._wire = wire
        self._secret = secret
        self._most_bytes = most_bytes
        self._name = b""
        self._sign = b""
        self._prompt = b""

    @property
    def prompt(self) -> bytes:
        """The prompt as it was last printed; empty before `begin`."""
        return self._prompt

    def begin(self, seconds: float) -> None:
        """Wait for the first prompt, set the terminal, and rise to the privileged level where there is a secret."""
        deadline = _Deadline(seconds, f"no prompt within {seconds:g} s after the login")
        printed = bytearray()
        try:
            while not terminal.PROMPT.search(printed, _line_start(printed)) or self._wire.recv_ready():
                self._read(printed, deadline)
            self._learn(printed, deadline)
        except Lost:
            raise
        except Broken as broken:
            # Nothing secret was typed yet, so none can have been echoed.
            raise Broken(f"{broken}{_last_line(printed)}") from None
        for setting in terminal.SETTINGS[1:]:
            self._exchange(setting, deadline)
        if self._sign == b">" and self._secret:
            self._rise(deadline)

    def ask(self, command: str, seconds: float) -> Answer:
        """The answer to a command; NotInCatalogue before anything is sent, Broken where it can't be had whole."""
        check(command)
        before = self._prompt
        text = self._exchange(command, _Deadline(seconds, f"no whole answer within {seconds:g} s"))
        return Answer(text, change_of(before, self._prompt))

    def settle(self, seconds: float) -> None:
        """See that the last answer had ended: a terminal setting, typed once more, is echoed and answers nothing.

        OutOfStep where something else comes, Unechoed where nothing does.
        """
        deadline = _Deadline(seconds, f"no prompt within {seconds:g} s after the last answer")
        text = self._exchange(terminal.SETTINGS[0], deadline)
        if not terminal.only_log_lines(text.encode("utf-8", "surrogateescape")):
            raise OutOfStep(_OUT_OF_STEP)

    def _learn(self, printed: bytearray, deadline: _Deadline) -> None:
        """Type the first setting and learn the prompt that follows its echo: a banner may hold what looks like one."""
        setting = terminal.SETTINGS[0]
        self._write(setting)
        start = max(len(printed) - _TAIL, 0)
        while True:
            self._read(printed, deadline)
            echoed = terminal.echo_of(setting).search(printed, start)
            last = max(_line_start(printed), echoed.end() - 1) if echoed else len(printed)
            prompt = terminal.PROMPT.search(printed, last)
            if prompt and not self._wire.recv_ready():
                self._name, self._sign = bytes(prompt["name"]), bytes(prompt["sign"])
                self._prompt = bytes(prompt[0]).strip()
                return

    def _rise(self, deadline: _Deadline) -> None:
        self._write(terminal.ENABLE)
        printed = bytearray()
        echo = terminal.echo_of(terminal.ENABLE)
        while not (echoed := echo.search(printed)) or not (
            terminal.PASSWORD.search(printed, echoed.end()) or self._ended(printed, echoed.end() - 1, b"#>") is not None
        ):
            self._read(printed, deadline)
        if terminal.PASSWORD.search(printed, echoed.end()):
            self._write_secret(printed)
            printed = bytearray(b"\n")
            while self._ended(printed, 0, b"#>") is None:
                if terminal.PASSWORD.search(printed):
                    break
                self._read(printed, deadline)
        if not self._prompt.rstrip().endswith(b"#"):
            raise Broken("the enable secret in READYPAIR_SECRET was refused")
        self._sign = b"#"

    def _exchange(self, line: str, deadline: _Deadline) -> str:
        """Type a line and read to the next prompt; returns what stands between the echo and it."""
        self._write(line)
        printed = bytearray()
        echo = terminal.echo_of(line)
        start = None
        try:
            while True:
                self._read(printed, deadline)
                if start is None and (found := echo.search(printed, 0, _ECHO_WITHIN)):
                    self._check_leftover(bytes(printed[: found.start("line")]))
                    start = found.end()
                if start is None:
                    self._check_echo(printed)
                    continue
                end = self._ended(printed, start - 1, self._sign)
                if end is not None and not self._wire.recv_ready():
                    return _text(printed[start:end])
                self._check_size_and_pager(printed, start, deadline)
        except Broken as broken:
            if start is not None:
                raise type(broken)(f"{broken}{self._other_prompt(printed)}", _text(printed[start:])) from None
            raise (Unechoed(str(broken)) if type(broken) is Broken else broken) from None

    def _other_prompt(self, printed: bytearray) -> str:
        """What may be the reason that no end was seen: the last line looks like another controller's prompt."""
        last = terminal.PROMPT.search(printed, _line_start(printed))
        if last is None or bytes(last["name"]) == self._name:
            return ""
        return f"; its last line looks like another prompt, {_text(last[0].strip())}, than {_text(self._prompt)}"

    def _check_leftover(self, printed: bytes) -> None:
        """What comes before the echo belongs to an earlier answer, and then nothing is certain any more."""
        own = terminal.PROMPT.sub(b"", printed.translate(None, b"\x00\x07"))
        if not terminal.only_log_lines(own.rstrip() + b"\n"):
            raise OutOfStep(_OUT_OF_STEP)

    def _check_echo(self, printed: bytearray) -> None:
        if len(printed) > _ECHO_WITHIN:
            raise Broken("the controller didn't echo the command")

    def _check_size_and_pager(self, printed: bytearray, start: int, deadline: _Deadline) -> None:
        if len(printed) - start > self._most_bytes:
            raise Broken(f"the answer is longer than {self._most_bytes // 1_000_000} MB")
        if not terminal.PAGER.search(printed, max(len(printed) - 80, start - 1)):
            return
        self._wire.settimeout(min(deadline.left(), _PAGER_PATIENCE))
        try:
            self._receive(printed)
        except TimeoutError:
            raise Broken("the pager could not be turned off") from None

    def _ended(self, printed: bytearray, start: int, signs: bytes) -> int | None:
        """Where the answer ends, once the prompt stands alone on the last line; keeps that prompt."""
        if printed[-1:] not in b"#> \t\n" or self._name not in printed[-_TAIL:]:
            return None
        found = terminal.end_of_answer(self._name, signs).search(printed, max(start, len(printed) - _TAIL))
        if found is None:
            return None
        self._prompt = bytes(found["end"]).split(b"\n")[0].strip()
        return found.start("end")

    def _read(self, printed: bytearray, deadline: _Deadline) -> None:
        """Wait for more, and take it; Broken at the deadline, Lost where the other side is gone."""
        try:
            self._wire.settimeout(deadline.left())
            self._receive(printed)
        except TimeoutError:
            raise Broken(deadline.reason) from None

    def _receive(self, printed: bytearray) -> None:
        try:
            piece = self._wire.recv(_PIECE)
        except TimeoutError:
            raise
        except OSError:
            piece = b""
        if not piece:
            raise Lost("the controller ended the session")
        printed += piece

    def _write_secret(self, printed: bytearray) -> None:
        """Answer the question for the secret, and only it."""
        if not terminal.PASSWORD.search(printed) or not self._secret or not self._secret.isprintable():
            raise NotInCatalogue("the enable secret is only typed where it is asked for, and as one line")
        self._write(self._secret, secret=True)

    def _write(self, line: str, *, secret: bool = False) -> None:
        """Type a line. Nothing else in readypair writes to a controller."""
        if not secret and line not in terminal.SETTINGS and line != terminal.ENABLE:
            check(line)
        try:
            self._wire.sendall(line.encode() + b"\n")
        except (OSError, EOFError):
            # paramiko's writing ends with the one or the other, by where it was when the connection broke.
            raise Lost("the controller ended the session") from None


def change_of(before: bytes, now: bytes) -> str:
    """How a prompt became that of another name or role, as a clause; empty where it is of the same ones.

    Members of a pair may share a host key and an address, so behind another name may be another controller.
    """
    if terminal.host_name(before) != terminal.host_name(now):
        return f"{NAME_CHANGED}: the prompt {_text(before)} became {_text(now)}"
    if terminal.is_standby(before) != terminal.is_standby(now):
        return f"{ROLE_CHANGED}: its prompt {_text(before)} became {_text(now)}"
    return ""


def check(line: str) -> None:
    """NotInCatalogue unless the line is, to the letter, a command that a sweep may send."""
    row = catalogue.find(line)
    # `find` forgives case and spacing, line breaks among it; what is typed must be the row's own text.
    if row is None or not row.sent or row.text != line or not line.isprintable() or not line.isascii():
        raise NotInCatalogue(f"{line!r} is not a command that readypair may send")


class _Deadline:
    def __init__(self, seconds: float, reason: str) -> None:
        self.reason = reason
        self._end = time.monotonic() + seconds

    def left(self) -> float:
        """Seconds that are left; TimeoutError where there are none."""
        left = self._end - time.monotonic()
        if left <= 0:
            raise TimeoutError
        return left


def _line_start(printed: bytearray) -> int:
    """Where the last line begins, with the line break before it."""
    return max(printed.rfind(b"\n"), printed.rfind(b"\r"), 0)


def _last_line(printed: bytearray) -> str:
    """A clause that quotes the last line that came, what isn't printable spelled out; empty where none came."""
    lines = [line.strip() for line in bytes(printed[-_TAIL:]).splitlines() if line.strip()]
    if not lines:
        return ""
    text = lines[-1].decode("utf-8", "backslashreplace")
    shown = "".join(each if each.isprintable() else each.encode("unicode_escape").decode() for each in text)
    return f"; the last line that came is {shown[:_QUOTED]}{'...' if len(shown) > _QUOTED else ''}"


def _text(printed: bytes | bytearray) -> str:
    return printed.decode("utf-8", "surrogateescape")
