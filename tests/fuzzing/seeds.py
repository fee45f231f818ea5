"""Where fuzzing a command begins: the demo's captures, the simulated fleet's answers, the parser tests' own texts."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from parsers import Unreadable, catalogue, read
from tests.fleet.making import healthy_pairs
from tests.fleet.writing import captures

_HOUSE = Path(__file__).parents[2]
_FIXTURES = _HOUSE / "fixtures" / "demo"
_PARSER_TESTS = _HOUSE / "tests" / "parsers" / "facts"


@cache
def seeds(command: str) -> tuple[str, ...]:
    """Texts that some command of the same template may print, each once, the shortest first."""
    template = _template(command)
    alike = [each for each in catalogue.COMMANDS if each.template == template]
    recorded = {_text(path) for each in alike for path in _FIXTURES.glob(f"*/{each.slug}.txt")}
    printed = {answers[each.text] for answers in _fleet() for each in alike if each.text in answers}
    told = {text for text in _told() if _is_read(command, text)}
    return tuple(sorted(recorded | printed | told, key=lambda text: (len(text), text)))


def _template(command: str) -> str:
    row = catalogue.find(command)
    if row is None:
        raise ValueError(f"{command!r} is not in the catalogue of commands")
    return row.template


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", "surrogateescape")


@cache
def _fleet() -> tuple[dict[str, str], ...]:
    return tuple(captures(pair, member, deep=True) for pair in healthy_pairs(2) for member in pair.members)


@cache
def _told() -> frozenset[str]:
    """The longer texts that stand in the parser tests: layouts of trains that the demo doesn't have."""
    return frozenset(text for path in _PARSER_TESTS.glob("test_*.py") for text in _strings(path) if len(text) > 10)


def _strings(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _is_read(command: str, text: str) -> bool:
    try:
        read(command, text)
    except Unreadable:
        return False
    return True
