"""Reads the YAML files of an inventory folder and validates them, keeping every mistake with its file and key."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from inventory.problems import InventoryError, Problem

_MOST_BYTES = 20_000_000
_MOST_VALUES = 2_000_000
_MERGE = "tag:yaml.org,2002:merge"

M = TypeVar("M", bound=BaseModel)


class _UniqueKeys(yaml.CSafeLoader if hasattr(yaml, "CSafeLoader") else yaml.SafeLoader):  # type: ignore[misc]
    """A safe loader that refuses a key given twice: YAML would let the second silently win."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        seen: set[tuple[str, str]] = set()
        for key, _ in node.value:
            if not isinstance(key, yaml.ScalarNode) or key.tag == _MERGE:
                continue
            if (key.tag, key.value) in seen:
                raise yaml.constructor.ConstructorError(
                    None, None, f"the key {key.value!r} is given twice", key.start_mark
                )
            seen.add((key.tag, key.value))
        return dict(super().construct_mapping(node, deep))

    def construct_yaml_timestamp(self, node: yaml.ScalarNode) -> Any:
        """A date or a time; one that isn't on the calendar stays text, so that its key can be named."""
        try:
            return super().construct_yaml_timestamp(node)
        except ValueError:
            return node.value


_UniqueKeys.add_constructor("tag:yaml.org,2002:timestamp", _UniqueKeys.construct_yaml_timestamp)


def load(path: Path) -> dict[str, Any]:
    """The mapping that a YAML file holds, empty for an empty file; InventoryError where it can't be read as one."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InventoryError([Problem(path, "", f"is larger than {_MOST_BYTES // 1_000_000} MB")])
        data = yaml.load(path.read_text(encoding="utf-8"), Loader=_UniqueKeys)  # noqa: S506 - derives from SafeLoader
    except OSError as error:
        raise InventoryError([Problem(path, "", f"can't be read: {error.strerror or error}")]) from None
    except UnicodeDecodeError:
        raise InventoryError([Problem(path, "", "isn't text in UTF-8")]) from None
    except yaml.YAMLError as error:
        raise InventoryError([Problem(path, "", f"isn't valid YAML: {_where(error)}")]) from None
    except (ValueError, RecursionError, OverflowError) as error:
        raise InventoryError([Problem(path, "", f"isn't valid YAML: {error}")]) from None
    if data is None:
        return {}
    if not isinstance(data, dict):
        raise InventoryError([Problem(path, "", "must hold keys and values, not a list or a single value")])
    if not _finite(data):
        raise InventoryError(
            [Problem(path, "", "its anchors and aliases are cyclic or grow out of hand; write them out")]
        )
    return data


def lines(path: Path) -> dict[tuple[str | int, ...], int]:
    """The line, from 1, of every key and list item in a YAML file that `load` takes, by the path down to it.

    A key that a mapping has by a merge (`<<`) stands where the merged mapping has it.
    """
    found: dict[tuple[str | int, ...], int] = {}
    root = yaml.compose(path.read_text(encoding="utf-8"), Loader=_UniqueKeys)
    if root is not None:
        _note_lines(root, (), found)
    return found


def _note_lines(node: yaml.Node, at: tuple[str | int, ...], found: dict[tuple[str | int, ...], int]) -> None:
    if isinstance(node, yaml.SequenceNode):
        for number, item in enumerate(node.value):
            found.setdefault((*at, number), item.start_mark.line + 1)
            _note_lines(item, (*at, number), found)
    elif isinstance(node, yaml.MappingNode):
        merged = [value for key, value in node.value if key.tag == _MERGE]
        for key, value in node.value:
            if key.tag != _MERGE and (*at, str(key.value)) not in found:
                found[(*at, str(key.value))] = key.start_mark.line + 1
                _note_lines(value, (*at, str(key.value)), found)
        for value in merged:
            for each in value.value if isinstance(value, yaml.SequenceNode) else [value]:
                _note_lines(each, at, found)


def validate(model: type[M], data: Mapping[str, Any], path: Path, context: object = None) -> M:
    """The data as the model; InventoryError with all mistakes at once, each with the full path of its key."""
    try:
        return model.model_validate(data, context=context)
    except ValidationError as error:
        raise InventoryError(problems(error, path)) from None


def problems(error: ValidationError, path: Path, prefix: str = "") -> list[Problem]:
    """Each mistake that pydantic found, as a problem of this file; `prefix` is the path down to the validated data."""
    found = []
    for item in error.errors(include_url=False, include_context=False):
        # `[key]` marks that the key itself is wrong, not its value.
        location = [str(part) for part in item["loc"] if part != "[key]"]
        key = ".".join([prefix, *location] if prefix else location)
        found.append(Problem(path, key, _sentence(item["type"], item["msg"])))
    return list(dict.fromkeys(found))


_SENTENCES = {
    "missing": "is missing; add it",
    "extra_forbidden": "isn't a key that readypair knows; correct its spelling or take it out",
    "string_type": "must be text",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "datetime_from_date_parsing": "must be a time such as 2027-02-06T23:00:00+01:00",
    "datetime_type": "must be a time such as 2027-02-06T23:00:00+01:00",
    "timezone_aware": "must say its offset from UTC, such as 2027-02-06T23:00:00+01:00",
    "dict_type": "must hold keys and values",
    "mapping_type": "must hold keys and values",
    "model_type": "must hold keys and values",
    "model_attributes_type": "must hold keys and values",
    "list_type": "must be a list",
    "tuple_type": "must be a list",
    "sequence_str": "must be a list",
}


def _sentence(kind: str, message: str) -> str:
    text = _SENTENCES.get(kind) or message.removeprefix("Value error, ")
    return text[0].lower() + text[1:] if text.startswith("Input ") else text


def _where(error: yaml.YAMLError) -> str:
    mark = getattr(error, "problem_mark", None)
    said = getattr(error, "problem", None) or getattr(error, "reason", None) or str(error).splitlines()[0]
    return f"line {mark.line + 1}, column {mark.column + 1}: {said}" if mark else str(said)


def _finite(data: Any) -> bool:
    """Whether the data, written out without aliases, is a tree of bearable size."""
    left = _MOST_VALUES
    stack: list[tuple[Any, frozenset[int]]] = [(data, frozenset())]
    while stack:
        value, above = stack.pop()
        left -= 1
        if left < 0 or id(value) in above:
            return False
        if isinstance(value, dict | list):
            below = above | {id(value)}
            stack.extend((item, below) for item in (value.values() if isinstance(value, dict) else value))
    return True
