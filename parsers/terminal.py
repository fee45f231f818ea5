"""What a controller's terminal prints around its answers, and the settings that make it print them undisturbed."""

from __future__ import annotations

import re

SETTINGS = ("terminal length 0", "terminal width 511")
"""The terminal settings of a session: no pager, no wrapped lines. They end with the session."""

ENABLE = "enable"
"""Asks for the privileged level; it changes nothing on the controller."""

PASSWORD = re.compile(rb"[Pp]assword: ?\Z")
"""The question for the secret, at the end of what was printed."""

PAGER = re.compile(rb"[\r\n \x08]-{1,3} ?[Mm]ore ?-{1,3}[ \t]*\Z")
"""The pager's question, at the end of what was printed."""

PROMPT = re.compile(rb"(?:\A|[\r\n])(?P<name>[A-Za-z0-9][\w.\-/]*?)(?P<standby>-stby)?(?P<sign>[#>])[ \t]?\Z")
"""Whatever may be a prompt, alone on the last line."""

_BLANK = rb"[ \t]*\r*\n"
_SYSLOG = rb"[^\r\n]*%[A-Z][A-Z0-9_]*(?:-[A-Z0-9_]+)*-[0-7]-[A-Z0-9_]+:[^\r\n]*\r*\n"


def echo_of(line: str) -> re.Pattern[bytes]:
    """A line's echo: at the start of a line or behind a prompt, with nothing behind it."""
    return re.compile(rb"(?:\A|[\r\n\x00\x07]|[#>]) ?(?P<line>" + re.escape(line.encode()) + rb")" + _BLANK)


def end_of_answer(name: bytes, signs: bytes) -> re.Pattern[bytes]:
    """This controller's prompt alone on the last line; the answer ends where the match's group `end` begins.

    The name may gain or lose its `-stby`: a switchover does that. Log lines that broke in after the prompt, and the
    prompt repeated after them, belong to no answer.
    """
    prompt = re.escape(name) + rb"(?:-stby)?[" + signs + rb"][ \t]?"
    log_lines = rb"\r*\n(?:" + _BLANK + rb")*(?:" + _SYSLOG + rb"(?:" + _BLANK + rb")*)+"
    return re.compile(rb"[\r\n](?P<end>" + prompt + rb"(?:" + log_lines + rb"(?:" + prompt + rb")?)*)\Z")


def only_log_lines(printed: bytes) -> bool:
    """Whether nothing but log lines and blank lines was printed."""
    return re.fullmatch(rb"(?:" + _BLANK + rb"|" + _SYSLOG + rb")*[ \t\r]*", printed) is not None


def is_standby(prompt: bytes) -> bool:
    """Whether a prompt is that of a standby."""
    return re.search(rb"-stby[#>]", prompt) is not None


def host_name(prompt: bytes) -> bytes:
    """The name in a prompt, without what says its role and level."""
    return re.sub(rb"(?:-stby)?[#>][ \t]?\Z", b"", prompt)
