"""The windows of a campaign: the nights that pairs may be given, and the people on shift (`--windows FILE`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StrictInt, StrictStr

from inventory import yaml_files
from inventory.pairing import WindowStart
from inventory.pairs import Window
from inventory.problems import InventoryError, Problem


@dataclass(frozen=True)
class Night:
    """One night of a campaign. `people` are on shift: no more pairs than that have their window.

    `shifts` says how many of them belong to which shift; empty where anybody does any pair's window.
    """

    name: str
    window: Window
    people: int
    shifts: Mapping[str, int] = field(default_factory=dict, hash=False)


def read_windows(path: Path) -> tuple[Night, ...]:
    """The nights of a file, the earliest first; InventoryError with all mistakes."""
    read = yaml_files.validate(_Windows, yaml_files.load(path), path)
    nights = tuple(sorted(map(_night, read.windows), key=lambda night: night.window.start))
    found = _doubles(read.windows, path) + _overlaps(read.windows, path)
    if found:
        raise InventoryError(found)
    return nights


def _filled(value: str) -> str:
    if not value.strip():
        raise ValueError("must not be empty")
    return value.strip()


def _some(value: tuple[_Night, ...]) -> tuple[_Night, ...]:
    if not value:
        raise ValueError("must have at least one window")
    return value


def _people(value: object) -> object:
    if isinstance(value, dict):
        if not value or any(isinstance(name, str) and not name.strip() for name in value):
            raise ValueError("must name every shift, at least one, or be a whole number")
        return value
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= _MOST_PEOPLE:
        raise ValueError("must be a whole number, or a number for each shift such as {harbour: 2, islands: 1}")
    return {_ANYBODY: value}


_ANYBODY = ""
_MOST_PEOPLE = 10_000


class _Night(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Annotated[StrictStr, AfterValidator(_filled)] | None = None
    start: WindowStart
    minutes: Annotated[StrictInt, Field(ge=1, le=7 * 24 * 60)]
    people: Annotated[Mapping[StrictStr, Annotated[StrictInt, Field(ge=0, le=_MOST_PEOPLE)]], BeforeValidator(_people)]


class _Windows(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    windows: Annotated[tuple[_Night, ...], AfterValidator(_some)]


def _night(read: _Night) -> Night:
    shifts = {name: number for name, number in read.people.items() if name != _ANYBODY}
    return Night(_name(read), Window(read.start, read.minutes), sum(read.people.values()), shifts)


def _name(read: _Night) -> str:
    return read.name if read.name is not None else read.start.strftime("%Y-%m-%d")


def _doubles(nights: tuple[_Night, ...], path: Path) -> list[Problem]:
    seen: dict[str, int] = {}
    found = []
    for number, night in enumerate(nights):
        first = seen.setdefault(_name(night), number)
        if first != number:
            message = f"is called {_name(night)!r} like windows.{first}; give each a name of its own"
            found.append(Problem(path, f"windows.{number}.name", message))
    return found


def _overlaps(nights: tuple[_Night, ...], path: Path) -> list[Problem]:
    """Two windows at one time would have the same people twice, and peers in both of them."""
    by_start = sorted(enumerate(nights), key=lambda each: each[1].start)
    found = []
    for (first, before), (number, night) in pairwise(by_start):
        if night.start < _night(before).window.end:
            message = f"starts before windows.{first} ends; make one window of the two, or keep them apart"
            found.append(Problem(path, f"windows.{number}.start", message))
    return found
