"""The damages: each takes what a pair's controllers said and a lot, and gives back what is left of it."""

from __future__ import annotations

import random
import string
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TypeVar

from collector.capture import Capture, Ending
from collector.demo import EVENING
from tests.damage.pairs import Key, Trial

Said = dict[Key, Capture]
Damage = Callable[[Trial, Said, random.Random], Said]
T = TypeVar("T")

_SYSLOG = (
    "*Feb  5 22:00:04.132: %SYS-5-CONFIG_I: Configured from console by duty on vty0 (192.0.2.250)",
    "Feb  5 2027 22:00:05.024 CET: %LINEPROTO-5-UPDOWN: Line protocol on Interface Te0/0/5, changed state to up",
    "*Feb  5 22:00:06.507: %APMGR_TRACE_MESSAGE-4-JOIN: Chassis 1 R0/0: wncd: 0200.5e10.0201 joined",
)
_SIGNS = string.ascii_letters + string.digits + " .:-_/=%[]()*,"
_COMPLETE = Ending.COMPLETE


def _some(said: Said, trial: Trial, lot: random.Random) -> Key:
    """An answer to damage: three times in four one in which the pair's faults show."""
    there = sorted(key for key, capture in said.items() if capture.ending is _COMPLETE and capture.text)
    telling = [key for key in there if key in trial.telling]
    return lot.choice(telling if telling and lot.random() < 0.75 else there)


def _place(trial: Trial, key: Key, lines: list[str], lot: random.Random) -> int:
    """A line of an answer: half the times one that the pair's healthy twin doesn't print."""
    own = set(trial.twin.get(key, "").split("\n"))
    differing = [place for place, line in enumerate(lines) if line.strip() and line not in own]
    return lot.choice(differing) if differing and lot.random() < 0.5 else lot.randrange(len(lines))


def _on_lines(change: Callable[[list[str], int, random.Random], list[str]]) -> Damage:
    """Damages the lines of one answer."""

    def damage(trial: Trial, said: Said, lot: random.Random) -> Said:
        key = _some(said, trial, lot)
        lines = said[key].text.split("\n")
        return _with_text(said, key, "\n".join(change(lines, _place(trial, key, lines, lot), lot)))

    return damage


def _with_text(said: Said, key: Key, text: str) -> Said:
    return {**said, key: replace(said[key], text=text)}


def _lose(lines: list[str], place: int, lot: random.Random) -> list[str]:
    return lines[:place] + lines[place + 1 :]


def _lose_run(lines: list[str], place: int, lot: random.Random) -> list[str]:
    start = max(0, place - lot.randrange(8))
    return lines[:start] + lines[place + lot.randint(1, 8) :]


def _swap(lines: list[str], place: int, lot: random.Random) -> list[str]:
    other = lot.randrange(len(lines))
    swapped = list(lines)
    swapped[place], swapped[other] = swapped[other], swapped[place]
    return swapped


def _double(lines: list[str], place: int, lot: random.Random) -> list[str]:
    return [*lines[: place + 1], *lines[place:]]


def _double_run(lines: list[str], place: int, lot: random.Random) -> list[str]:
    end = place + lot.randint(2, 8)
    return [*lines[:end], *lines[place:]]


def _cut(lines: list[str], place: int, lot: random.Random) -> list[str]:
    """The controller stops before this line, or within it, and prompts as if all were said."""
    return lines[:place] if lot.random() < 0.7 else [*lines[:place], lines[place][: lot.randint(0, len(lines[place]))]]


def _syslog(lines: list[str], place: int, lot: random.Random) -> list[str]:
    """Syslog lines between two lines, or in the middle of one."""
    line, broken = lot.choice(_SYSLOG), lot.randint(0, len(lines[place]))
    if lot.random() < 0.5:
        return [*lines[:place], line, *lines[place:]]
    head, tail = lines[place][:broken], lines[place][broken:]
    return [*lines[:place], head, line, tail, *lines[place + 1 :]]


def _bits(lines: list[str], place: int, lot: random.Random) -> list[str]:
    """One to three bits of a line, on its way as UTF-8."""
    line = bytearray(lines[place].encode())
    for _ in range(lot.randint(1, 3)):
        if line:
            line[lot.randrange(len(line))] ^= 1 << lot.randrange(8)
    return [*lines[:place], line.decode(errors="replace"), *lines[place + 1 :]]


def _signs(lines: list[str], place: int, lot: random.Random) -> list[str]:
    """One to four signs of a line into others, digits into digits half the times."""
    line = list(lines[place])
    for _ in range(lot.randint(1, 4)):
        digits = [at for at, sign in enumerate(line) if sign.isdigit()]
        if digits and lot.random() < 0.5:
            line[lot.choice(digits)] = lot.choice(string.digits)
        elif line:
            line[lot.randrange(len(line))] = lot.choice(_SIGNS)
    return [*lines[:place], "".join(line), *lines[place + 1 :]]


def _cut_off(trial: Trial, said: Said, lot: random.Random) -> Said:
    """The session ended in the middle and the tool knows."""
    key = _some(said, trial, lot)
    text = said[key].text
    cut = replace(said[key], text=text[: lot.randint(0, len(text))], ending=Ending.CUT_OFF, reason="the session ended")
    return {**said, key: cut}


def _gone(trial: Trial, said: Said, lot: random.Random) -> Said:
    member, command = _some(said, trial, lot)
    return {**said, (member, command): Capture(member, command, ending=Ending.MISSING, reason="no answer")}


def _partner(trial: Trial, member: str) -> str:
    return next(each.name for each in trial.snapshot.members if each.name != member)


def _into(said: Said, key: Key, capture: Capture | None) -> Said:
    """This capture in the place of that one."""
    member, command = key
    found = capture or Capture(member, command, ending=Ending.MISSING, reason="no answer")
    return {**said, key: replace(found, member=member, command=command)}


def _exchange(trial: Trial, said: Said, lot: random.Random) -> Said:
    """One answer of a member for the other's."""
    member, command = _some(said, trial, lot)
    here, there = (member, command), (_partner(trial, member), command)
    return _into(_into(said, here, said.get(there)), there, said.get(here))


def exchange_all(trial: Trial, said: Said, lot: random.Random) -> Said:
    """Every answer of a member for the other's."""
    changed = said
    first, second = (member.name for member in trial.snapshot.members)
    for command in dict.fromkeys(command for _, command in said):
        changed = _into(changed, (first, command), said.get((second, command)))
        changed = _into(changed, (second, command), said.get((first, command)))
    return changed


def _partners_instead(trial: Trial, said: Said, lot: random.Random) -> Said:
    """A member's answer once more in the place of its partner's, which is lost."""
    member, command = _some(said, trial, lot)
    other = said.get((_partner(trial, member), command))
    return said if other is None or other.ending is not _COMPLETE else _into(said, (member, command), other)


def _commands_exchanged(trial: Trial, said: Said, lot: random.Random) -> Said:
    here = _some(said, trial, lot)
    there = lot.choice(sorted(key for key in said if key[0] == here[0]))
    return _into(_into(said, here, said[there]), there, said[here])


def _another_command_instead(trial: Trial, said: Said, lot: random.Random) -> Said:
    """The answer to one command once more in the place of another's, as when a buffer wasn't emptied."""
    here = _some(said, trial, lot)
    commands = [key for key in said if key[0] == here[0]]
    before = commands[commands.index(here) - 1]
    return _into(said, here, said[lot.choice((before, *commands))])


def _one_behind(trial: Trial, said: Said, lot: random.Random) -> Said:
    """From one command on, every answer stands one command late."""
    here = _some(said, trial, lot)
    commands = [key for key in said if key[0] == here[0]]
    changed = said
    for late, early in zip(commands[commands.index(here) + 1 :], commands[commands.index(here) :], strict=False):
        changed = _into(changed, late, said[early])
    return changed


def _old(fresh: bool) -> Damage:
    """Answers of the healthy pair some hours or weeks ago in the place of one, of some or of all of a member's."""

    def damage(trial: Trial, said: Said, lot: random.Random) -> Said:
        age = timedelta() if fresh else timedelta(minutes=lot.choice((30, 180, 24 * 60, 9 * 24 * 60)))
        member, command = _some(said, trial, lot)
        own = sorted(key for key in said if key[0] == member)
        which = lot.choice(([(member, command)], lot.sample(own, min(len(own), lot.randint(2, 8))), own))
        changed = said
        for key in which:
            if key in trial.old:
                kept = Capture(*key, trial.old[key], started=EVENING - age, seconds=0.2)
                changed = {**changed, key: kept}
        return changed

    return damage


KINDS: Mapping[str, Damage] = {
    "a line lost": _on_lines(_lose),
    "a run of lines lost": _on_lines(_lose_run),
    "two lines swapped": _on_lines(_swap),
    "the end missing, said complete": _on_lines(_cut),
    "cut off, said so": _cut_off,
    "an answer missing": _gone,
    "a line doubled": _on_lines(_double),
    "a run of lines doubled": _on_lines(_double_run),
    "bits flipped": _on_lines(_bits),
    "signs changed": _on_lines(_signs),
    "syslog lines put in": _on_lines(_syslog),
    "an answer exchanged between the members": _exchange,
    "all answers exchanged between the members": exchange_all,
    "the partner's answer instead": _partners_instead,
    "two commands' answers exchanged": _commands_exchanged,
    "another command's answer instead": _another_command_instead,
    "answers one command late": _one_behind,
    "old answers with their time": _old(fresh=False),
    "old answers with tonight's time": _old(fresh=True),
}
SEVERAL = "several at once"


@dataclass(frozen=True)
class Damaged:
    """What became of a pair's answers."""

    kind: str
    said: Said


def all_of(trial: Trial) -> Said:
    """All that the pair has said, undamaged."""
    return {
        (member.name, command): capture
        for member in trial.snapshot.members
        for command, capture in member.captures.items()
    }


def damaged(trial: Trial, lot: random.Random) -> Damaged:
    """A random damage, one of each kind or two to four at once."""
    said = all_of(trial)
    kind = lot.choice((*KINDS, SEVERAL))
    if kind != SEVERAL:
        return Damaged(kind, KINDS[kind](trial, said, lot))
    names = [lot.choice(tuple(KINDS)) for _ in range(lot.randint(2, 4))]
    for name in names:
        said = KINDS[name](trial, said, lot)
    return Damaged(f"{SEVERAL} ({', '.join(names)})", said)
