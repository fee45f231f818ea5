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
        return f"{self.file}: {self.key}: {self.message}" if self.key else f"{self.file}: {self.message}"


class InventoryError(Exception):
    """The inventory or the policy can't be used; `problems` holds every mistake that was found."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems
