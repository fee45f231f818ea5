"""The wall around the command line: nobody imports it, no command imports another, and loading it costs little."""

import ast
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

from collector import cli

ROOT = Path(__file__).parents[2]
LINE = "collector/cli.py"
COMMANDS = "collector/commands"
SHARED = {"asking", "choosing", "options", "remembering", "stored_nights", "telling", "telling_on", "unwritten"}


def files(*rooms: str) -> list[str]:
    return [file.relative_to(ROOT).as_posix() for room in rooms for file in sorted((ROOT / room).rglob("*.py"))]


def imported(file: str, statements: Iterable[ast.AST]) -> set[str]:
    """Every module that the statements import, and every name out of one, spelled in full."""
    package = file.split("/")[:-1]
    found = set()
    for statement in statements:
        if isinstance(statement, ast.Import):
            found |= {alias.name for alias in statement.names}
        elif isinstance(statement, ast.ImportFrom):
            near = package[: len(package) - statement.level + 1] if statement.level else []
            source = ".".join([*near, *filter(None, [statement.module])])
            found |= {source} | {f"{source}.{alias.name}" for alias in statement.names}
    return found


def everywhere(file: str) -> set[str]:
    return imported(file, ast.walk(ast.parse((ROOT / file).read_text(encoding="utf-8"))))


def within(module: str, room: str) -> bool:
    return module == room or module.startswith(f"{room}.")


@pytest.mark.parametrize("file", files("collector", "parsers", "inventory"))
def test_the_command_line_is_imported_by_nobody(file: str) -> None:
    modules = everywhere(file)
    assert not [module for module in modules if within(module, "collector.cli")]
    if file != LINE and not file.startswith(f"{COMMANDS}/"):
        assert not [module for module in modules if within(module, "collector.commands")]


@pytest.mark.parametrize("file", files(COMMANDS))
def test_commands_share_only_what_is_named_for_sharing(file: str) -> None:
    own = {module.split(".")[2] for module in everywhere(file) if module.startswith("collector.commands.")}
    assert own <= SHARED


@pytest.mark.parametrize("file", [LINE, *files(COMMANDS)])
def test_loading_a_command_loads_none_of_the_rest(file: str) -> None:
    # What stands under TYPE_CHECKING or in a function isn't in the body of the module itself.
    modules = imported(file, ast.parse((ROOT / file).read_text(encoding="utf-8")).body)
    allowed = (*sys.stdlib_module_names, "collector.commands", "collector.streams")
    assert not [module for module in modules - {"collector"} if not any(within(module, room) for room in allowed)]


def test_every_command_is_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        cli.main(["--help"])
    shown = capsys.readouterr().out
    commands = {Path(file).stem for file in files(COMMANDS)} - SHARED - {"__init__"}
    assert len(commands) >= 11
    assert not [command for command in commands if f"\n    {command} " not in shown]
