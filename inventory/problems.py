"""What is wrong with an inventory or a policy, in sentences for the person who wrote it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Problem:
    """One mistake: the file, the key's full path in it (empty for the file as a whole), and what to do."""

    file: Path
    key: str
    message: str

    def __str__(self) -> str:
        parts = str(self.file), *([_short(self.key, _LONGEST_KEY)] if self.key else []), _short(self.message)
        return ": ".join(map(_plain, parts))


_LONGEST_KEY, _LONGEST_MESSAGE, _MOST_PROBLEMS = 200, 1_000, 200


def _short(text: str, longest: int = _LONGEST_MESSAGE) -> str:
    """The text without its middle where it is a novel: what stands in a file is quoted in sentences about it."""
    half = longest // 2
    return text if len(text) <= longest else f"{text[:half]}...{text[-half:]}"


def _plain(text: str) -> str:
    """The text on one line, with nothing in it that would steer a terminal."""
    if text.isprintable():
        return text
    return "".join(each if each.isprintable() else each.encode("unicode_escape").decode("ascii") for each in text)


class InventoryError(Exception):
    """The inventory or the policy can't be used; `problems` holds the mistakes, as many as somebody reads."""

    def __init__(self, problems: list[Problem]) -> None:
        if len(problems) > _MOST_PROBLEMS:
            rest = Problem(problems[0].file, "", "there are more mistakes; correct these first")
            problems = [*problems[:_MOST_PROBLEMS], rest]
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems
