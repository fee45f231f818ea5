"""Templates over numbered lines; captures are foreign text that TTP must not take for anything else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from re import _constants as codes  # type: ignore[attr-defined]
from re import _parser as sre  # type: ignore[attr-defined]
from typing import Any

import pytest

from parsers import catalogue, matching, transcript

TEMPLATES = sorted({command.template for command in catalogue.COMMANDS})


def matched(template: str, text: str) -> matching.Matches:
    return matching.match(template, transcript.of(text))


def test_every_line_knows_its_number_whether_it_matched_or_not() -> None:
    found = matched("boot", "\nBOOT variable = a\n\nnoise\nConfiguration register is 0x102\n")
    assert [(match.kind, match.at) for match in found.found] == [("variable", 2), ("config_register", 5)]
    assert found.unmatched == [4]


def test_one_capture_leaves_nothing_behind_for_the_next() -> None:
    assert matched("boot", "BOOT variable = a").found
    assert matched("boot", "nothing here").found == ()
    assert len(matched("boot", "BOOT variable = b").found) == 1


def test_a_failed_parse_leaves_nothing_behind_either(monkeypatch: pytest.MonkeyPatch) -> None:
    parser = matching._parser("boot")

    def fail(**_: Any) -> list[Any]:
        raise MemoryError

    with monkeypatch.context() as patch:
        patch.setattr(parser, "result", fail)
        with pytest.raises(MemoryError):
            matched("boot", "BOOT variable = a")
    assert matched("boot", "nothing here").found == ()


@pytest.mark.parametrize(
    "text", ["{{ x }}", "<group>", "<vars> a </vars>", "ttp://misc/x", "{{ at | macro('x') }}", "\0"]
)
def test_what_looks_like_a_template_is_only_text(text: str) -> None:
    found = matched("rom_variables", f"NAME = {text}\n{text}")
    assert [match["value"].strip() for match in found.of("variable")] == [f"= {text}"]


def test_a_text_that_names_a_file_is_not_taken_for_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """TTP reads the file whose path it is given as text, and such a name may hold line ends."""
    monkeypatch.chdir(tmp_path)
    Path("1 x\n").write_text("1 BOOT = from the file\n")
    assert matched("rom_variables", "x").found == ()


def test_a_line_longer_than_any_controller_prints_is_matched_by_nothing() -> None:
    found = matched("rom_variables", f"A = {'x' * 5_000}\nB = 1")
    assert [match["name"] for match in found.found] == ["B"]
    assert found.unmatched == [1]


def test_text_is_no_different_for_having_odd_characters() -> None:
    found = matched("rom_variables", "A = \ud800\nB = \u2028\u0661\nC = \\1 \\g<0> %s")
    assert [match["value"] for match in found.found] == [" = \ud800", " = \u2028\u0661", " = \\1 \\g<0> %s"]


def _patterns(template: str) -> Iterator[str]:
    for group in matching._parser(template)._templates[0].groups:
        for each in (*group.start_re, *group.re, *group.end_re):
            yield each["REGEX"].pattern


def _eats_line_ends(parsed: Any) -> bool:
    """Whether any part of a parsed pattern matches a line feed, besides the one in front and looks ahead."""
    for code, argument in parsed:
        if code in (codes.ASSERT, codes.ASSERT_NOT):
            continue
        if code is codes.NOT_LITERAL and argument != ord("\n"):
            return True
        if code is codes.LITERAL and argument == ord("\n"):
            return True
        if code is codes.IN and re.fullmatch(_class(argument), "\n"):
            return True
        if any(_eats_line_ends(inner) for inner in _inner(argument)):
            return True
    return False


def _class(items: Any) -> re.Pattern[str]:
    parsed = sre.parse("[x]")
    parsed.data = [(codes.IN, items)]
    compiled: re.Pattern[str] = re._compiler.compile(parsed)  # type: ignore[attr-defined]
    return compiled


def _inner(argument: Any) -> Iterator[Any]:
    if isinstance(argument, sre.SubPattern):
        yield argument
    elif isinstance(argument, tuple | list):
        for item in argument:
            yield from _inner(item)


@pytest.mark.parametrize("template", TEMPLATES)
def test_no_pattern_runs_on_into_the_next_line(template: str) -> None:
    for pattern in _patterns(template):
        assert pattern.startswith("\\n")
        assert not _eats_line_ends(sre.parse(pattern[2:])), pattern


def test_the_check_above_sees_a_pattern_that_does() -> None:
    assert all(_eats_line_ends(sre.parse(pattern)) for pattern in ("[^:]+", "a(?:b|\\s)", "x\\W", "[^ ]"))
    assert not any(_eats_line_ends(sre.parse(pattern)) for pattern in ("[^:\\n]+", "a(?:b|\\S)", ".*(?=\\n)"))


@pytest.mark.parametrize("template", TEMPLATES)
def test_no_value_goes_through_a_function_of_the_template_language(template: str) -> None:
    """A bar inside `re(...)` becomes one that isn't there, which TTP looks for among all it knows, for every line."""
    for group in matching._parser(template)._templates[0].groups:
        for each in (*group.start_re, *group.re, *group.end_re):
            assert {name: value.functions for name, value in each["VARIABLES"].items() if value.functions} == {}


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_template_names_a_group_a_kind_and_begins_each_line_with_the_number(template: str) -> None:
    source = (resources.files("parsers") / "templates" / f"{template}.ttp").read_text(encoding="utf-8")
    groups = re.findall(r'<group name="(\w+)\*">\n(.*?)</group>', source, re.DOTALL)
    assert len(groups) == source.count("<group")
    assert len({name for name, _ in groups}) == len(groups)
    for name, lines in groups:
        for line in filter(str.strip, lines.splitlines()):
            assert line.startswith(("{{ at | DIGIT }} ", "{{ at | DIGIT | _start_ }} ")), (name, line)
