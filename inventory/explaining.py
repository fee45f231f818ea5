"""The policy in force, value by value, and where each comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from inventory import yaml_files
from inventory.policy import Policy, Table, UpgradePath
from parsers.release import train

Value = str | int | float | bool | None | Mapping[str, str | bool]
_Place = tuple[str | int, ...]


@dataclass(frozen=True)
class Setting:
    """One value in force: its key's full path, and the line of the policy's file, or None for a built-in default.

    A step of the upgrade paths is one value: `from`, `to` and `direct`. An empty table has the value None.
    """

    key: str
    value: Value
    line: int | None


def explained(policy: Policy, path: Path, weights: Mapping[str, str]) -> tuple[Setting, ...]:
    """Every value of a policy that was read from this file; `weights` are the built-in weights of all rules."""
    lines = yaml_files.lines(path)
    found = [
        setting
        for name in type(policy).model_fields
        if name != "rules"
        for setting in _settings((name,), (name,), getattr(policy, name), lines)
    ]
    found += [
        Setting(f"rules.{id}", policy.rules.get(id, weight), lines.get(("rules", id))) for id, weight in weights.items()
    ]
    return tuple(found)


def _settings(key: _Place, place: _Place, value: object, lines: Mapping[_Place, int]) -> Iterator[Setting]:
    """The values below a key; `place` is where the file has it, which may write a release or a train otherwise."""
    if isinstance(value, UpgradePath):
        yield _setting(key, place, {"from": value.start, "to": value.end, "direct": value.direct}, lines)
    elif isinstance(value, Table):
        for name in type(value).model_fields:
            yield from _settings((*key, name), (*place, name), getattr(value, name), lines)
    elif isinstance(value, Mapping) and value:
        for name, inner in value.items():
            yield from _settings((*key, name), (*place, _written(place, name, lines)), inner, lines)
    elif isinstance(value, Sequence) and not isinstance(value, str) and value:
        for number, inner in enumerate(value):
            yield from _settings((*key, number), (*place, number), inner, lines)
    else:
        yield _setting(key, place, _plain(value), lines)


def _plain(value: object) -> Value:
    """A value as JSON has it; None where there is none, or a table is empty."""
    if isinstance(value, str | int | float):
        return value
    empty = value is None or (isinstance(value, Mapping | Sequence) and not value)
    return None if empty else str(value)


def _setting(key: _Place, place: _Place, value: Value, lines: Mapping[_Place, int]) -> Setting:
    return Setting(".".join(map(str, key)), value, lines.get(place))


def _written(place: _Place, name: str, lines: Mapping[_Place, int]) -> str:
    """The key as the file writes it: 17.09 where the policy in force has 17.9."""
    if (*place, name) in lines:
        return name
    beside = (str(other[-1]) for other in lines if other[:-1] == place)
    return next((each for each in beside if _train(each) == name), name)


def _train(text: str) -> str | None:
    try:
        return train(text)
    except ValueError:
        return None
