"""Reads the YAML files of an inventory folder and validates them, keeping every mistake with its file and key."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from inventory import regular_files
from inventory.problems import InventoryError, Problem

_MOST_BYTES = 20_000_000
_MOST_VALUES = 300_000
_DEEPEST = 100
_LONGEST_NUMBER = 100
# As YAML counts lines.
_LINE = re.compile("[^\r\n\x85\u2028\u2029]*(?:\r\n|[\r\n\x85\u2028\u2029]|$)")
_MERGE = "tag:yaml.org,2002:merge"

M = TypeVar("M", bound=BaseModel)


class _Loader(yaml.CSafeLoader if hasattr(yaml, "CSafeLoader") else yaml.SafeLoader):  # type: ignore[misc]
    """A safe loader whose mistakes in single values name their line, and that reads no number of any length."""

    def construct_yaml_timestamp(self, node: yaml.ScalarNode) -> Any:
        """A date or a time; one that isn't on the calendar stays text, so that its key can be named."""
        try:
            return super().construct_yaml_timestamp(node)
        except (ValueError, OverflowError, AttributeError):
            return node.value

    def construct_yaml_int(self, node: yaml.ScalarNode) -> Any:
        """A whole number."""
        return self._number(node, super().construct_yaml_int)

    def construct_yaml_float(self, node: yaml.ScalarNode) -> Any:
        """A number."""
        return self._number(node, super().construct_yaml_float)

    def construct_yaml_bool(self, node: yaml.ScalarNode) -> Any:
        """True or false."""
        return self._number(node, super().construct_yaml_bool)

    def _number(self, node: yaml.ScalarNode, read: Callable[[yaml.ScalarNode], Any]) -> Any:
        # Reading a number takes the square of its length.
        if len(node.value) > _LONGEST_NUMBER:
            raise _mistake(f"a number of {len(node.value):,} characters is none; write it shorter", node)
        try:
            return read(node)
        except (ValueError, LookupError, OverflowError):
            raise _mistake(f"{node.value!r} isn't what its tag says", node) from None


for _kind in ("timestamp", "int", "float", "bool"):
    _Loader.add_constructor(f"tag:yaml.org,2002:{_kind}", getattr(_Loader, f"construct_yaml_{_kind}"))


def load(path: Path, shorten: str = "shorten it") -> dict[str, Any]:
    """The mapping that a YAML file holds, empty for an empty file; InventoryError where it can't be read as one.

    `shorten` says what to do about a file that holds too much.
    """
    text = _text(path, shorten)
    try:
        data = _data(text)
    except yaml.YAMLError as error:
        raise InventoryError([Problem(path, "", f"isn't valid YAML: {_where(error, text)}")]) from None
    except _TooManyError as error:
        raise InventoryError([Problem(path, "", f"{error}; {shorten}")]) from None
    except _TooDeepError as error:
        raise InventoryError([Problem(path, "", f"{error}; write them flatter")]) from None
    except _OutOfHandError:
        raise InventoryError(
            [Problem(path, "", "its anchors and aliases are cyclic or grow out of hand; write them out")]
        ) from None
    except (ValueError, RecursionError, OverflowError) as error:
        raise InventoryError([Problem(path, "", f"isn't valid YAML: {error}")]) from None
    if data is None:
        return {}
    if not isinstance(data, dict):
        raise InventoryError([Problem(path, "", "must hold keys and values, not a list or a single value")])
    return data


def _text(path: Path, shorten: str = "shorten it") -> str:
    try:
        return regular_files.read(path, _MOST_BYTES).decode("utf-8-sig")
    except regular_files.TooLargeError as error:
        raise InventoryError([Problem(path, "", f"{error.strerror}; {shorten}")]) from None
    except OSError as error:
        raise InventoryError([Problem(path, "", f"can't be read: {error.strerror or error}")]) from None
    except UnicodeDecodeError:
        raise InventoryError([Problem(path, "", "isn't text in UTF-8")]) from None


class _TooManyError(Exception):
    """There are more values than any inventory has."""


class _TooDeepError(Exception):
    """Values are nested deeper than any inventory's."""


class _OutOfHandError(Exception):
    """Written out without aliases, the data would be no tree of bearable size."""


def _data(text: str) -> Any:
    """What the text holds; nothing is made of it before it is known to be of bearable size."""
    _check_events(text)
    loader = _Loader(text)
    try:
        root = loader.get_single_node()
        if root is None:
            return None
        _check_nodes(root)
        return loader.construct_document(root)
    finally:
        loader.dispose()


def _check_events(text: str) -> None:
    """_TooManyError or _TooDeepError where the text holds more than any inventory: it would fill the memory."""
    values = depth = 0
    for event in _events(text):
        values += isinstance(event, yaml.NodeEvent)
        if values > _MOST_VALUES:
            raise _TooManyError(f"holds more than {_MOST_VALUES:,} values, from {_place(event.start_mark)} on")
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > _DEEPEST:
                raise _TooDeepError(f"holds values more than {_DEEPEST} deep, at {_place(event.start_mark)}")
        depth -= isinstance(event, yaml.CollectionEndEvent)


def _events(text: str) -> Iterator[yaml.Event]:
    try:
        yield from yaml.parse(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        # libyaml reads ahead of what it tells of, and has a limit of its own.
        if error.problem == "exceeded maximum nesting depth":
            raise _TooDeepError(f"holds values more than {_DEEPEST} deep, at {_place(error.problem_mark)}") from None
        raise


def _check_nodes(root: yaml.Node) -> None:
    """YAMLError where a key is given twice, _OutOfHandError where aliases lead in circles or multiply what there is.

    YAML would let the second of two keys silently win.
    """
    sizes: dict[int, int] = {}
    open_nodes: set[int] = set()
    stack: list[tuple[yaml.Node, bool]] = [(root, False)]
    while stack:
        node, seen = stack.pop()
        if seen:
            open_nodes.discard(id(node))
            sizes[id(node)] = size = 1 + sum(sizes[id(each)] for each in _inside(node))
            if size > _MOST_VALUES:
                raise _OutOfHandError
        elif id(node) in open_nodes:
            raise _OutOfHandError
        elif id(node) not in sizes:
            _check_keys(node)
            open_nodes.add(id(node))
            stack.append((node, True))
            stack.extend((each, False) for each in _inside(node))


def _inside(node: yaml.Node) -> list[yaml.Node]:
    if isinstance(node, yaml.MappingNode):
        return [each for both in node.value for each in both]
    return node.value if isinstance(node, yaml.SequenceNode) else []


def _check_keys(node: yaml.Node) -> None:
    seen: set[tuple[str, str]] = set()
    for key, _ in node.value if isinstance(node, yaml.MappingNode) else ():
        if isinstance(key, yaml.ScalarNode) and key.tag != _MERGE:
            if (key.tag, key.value) in seen:
                raise _mistake(f"the key {key.value!r} is given twice", key)
            seen.add((key.tag, key.value))


def _mistake(what: str, at: Any) -> yaml.YAMLError:
    return yaml.constructor.ConstructorError(None, None, what, at.start_mark)


def lines(path: Path) -> dict[tuple[str | int, ...], int]:
    """The line, from 1, of every key and list item in a YAML file that `load` takes, by the path down to it.

    A key that a mapping has by a merge (`<<`) stands where the merged mapping has it.
    """
    found: dict[tuple[str | int, ...], int] = {}
    root = yaml.compose(_text(path), Loader=_Loader)
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


def _where(error: yaml.YAMLError, text: str) -> str:
    mark = getattr(error, "problem_mark", None)
    said = getattr(error, "problem", None) or getattr(error, "reason", None) or str(error).splitlines()[0]
    if mark is None:
        return str(said)
    return f"{_place(mark)}: {'a tab; indent with blanks' if _is_by_a_tab(mark, text) else said}"


def _place(mark: Any) -> str:
    return f"line {mark.line + 1}, column {mark.column + 1}"


def _is_by_a_tab(mark: Any, text: str) -> bool:
    """Whether the line is indented with a tab, or a tab stands where something was to begin."""
    line = next(itertools.islice(_LINE.finditer(text), mark.line, None), None)
    if line is None:
        return False
    indent = line[0][: len(line[0]) - len(line[0].lstrip(" \t"))]
    return "\t" in indent[: mark.column + 1] or line[0][mark.column : mark.column + 1] == "\t"
