"""Writes a pair's captures and a fleet's inventory to disk."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from parsers import catalogue
from tests.fleet import printing
from tests.fleet.description import Controller, Dress, PairDescription

_LOAD = "Load for five secs: 4%/0%; one minute: 3%; five minutes: 3%"
_TIME = "Time source is NTP, 22:00:0{0}.132 CET Fri Feb 5 2027"


def captures(pair: PairDescription, member: Controller, *, deep: bool = False) -> dict[str, str]:
    """What every command that a sweep sends prints on this member, by the command's text; none if it is unreachable.

    With `deep`, what a plan sends besides is among them.
    """
    if not member.reachable:
        return {}
    dress = pair.dress_of(member)
    return {
        command.text: dressed(printing.answer(pair, member, command.text), command.text, dress)
        for command in (*catalogue.asked(), *(catalogue.deep() if deep else ()))
    }


def write_pair(pair: PairDescription, folder: Path, *, anew: bool = True, deep: bool = False) -> list[Path]:
    """Write both members' captures under `folder/<member>/<slug>.txt` and return the paths written.

    With `anew` False a file that is there already stays as it is: fixtures may be edited by hand.
    """
    written = []
    for member in pair.members:
        for command, text in captures(pair, member, deep=deep).items():
            path = folder / member.name / f"{catalogue.slug(command)}.txt"
            if path.exists() and not anew:
                continue
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(text.encode())
            written.append(path)
    return written


def dressed(lines: list[str], command: str, dress: Dress) -> str:
    """An answer's lines as one text, in a member's dress."""
    if dress.indented:
        lines = [f" {line}" if line else line for line in lines]
    if dress.doubled_blanks:
        lines = [each for line in lines for each in ([line, line] if not line else [line])]
    if dress.trailing_blanks:
        lines = [f"{line}  " for line in lines]
    for after, line in sorted(dress.syslog.get(command, ()), reverse=True):
        lines = [*lines[:after], line, *lines[after:]]
    top = [_LOAD] if dress.load_line else []
    top += [_TIME.format(len(command) % 10)] if dress.time_line else []
    ending = "\r\n" if dress.carriage_returns else "\n"
    return "".join(f"{line}{ending}" for line in (*top, *lines))


def hosts(pairs: Iterable[PairDescription]) -> str:
    """The text of a `hosts.yaml`."""
    return "".join(
        f"{member.name}: {{hostname: {member.address}, groups: [{pair.name}]}}\n"
        for pair in pairs
        for member in pair.members
    )


def groups(pairs: Iterable[PairDescription]) -> str:
    """The text of a `groups.yaml`."""
    return "controllers: {platform: ios}\n" + "".join(
        f"{pair.name}:\n"
        "  groups: [controllers]\n"
        "  data:\n"
        f"    pair: {pair.name}\n"
        f"    site: {pair.site}\n"
        f"    target_release: {pair.target_release}\n"
        f"    image: {{file: {pair.image_file}, bytes: {pair.image_bytes}}}\n"
        f"    window: {{start: {pair.window}, minutes: {pair.window_minutes}}}\n"
        for pair in pairs
    )
