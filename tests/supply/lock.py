"""The lock file: every package that the tests and the checks install, as one version with its digests."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import NormalizedName, canonicalize_name

ROOT = Path(__file__).parents[2]
LOCK = Path(__file__).with_name("locked.txt")

# What a user can ask for; the other extras are for those who work on readypair.
FOR_USERS = ("plan", "postgresql", "telling", "board")

Environment = Mapping[str, str]


@dataclass(frozen=True)
class Pin:
    """A package of the lock: its version as a requirement, its digests, and the packages that it is there for."""

    requirement: Requirement
    digests: tuple[str, ...]
    needed_by: tuple[NormalizedName, ...]

    @property
    def name(self) -> NormalizedName:
        """The name as package indexes write it."""
        return canonicalize_name(self.requirement.name)

    @property
    def version(self) -> str:
        """The one version; a `ValueError` where the lock leaves a choice."""
        (only,) = self.requirement.specifier
        if only.operator != "==" or only.version.endswith(".*"):
            raise ValueError(f"{self.requirement} is no pin")
        return only.version

    def applies(self, to: Environment | None = None) -> bool:
        """Whether this machine, or one of which these things are known, installs it."""
        marker = self.requirement.marker
        return marker is None or marker.evaluate(dict(to or {}))


def pins(text: str) -> tuple[Pin, ...]:
    """The pins of a lock file's text, in its order."""
    entries = re.split(r"^(?=\S)", text, flags=re.MULTILINE)
    return tuple(_pin(entry) for entry in entries if entry.strip() and not entry.startswith("#"))


def _pin(entry: str) -> Pin:
    lines = entry.splitlines()
    words = [line.strip().removesuffix("\\").strip() for line in lines]
    stated = [line for line in words if line and not line.startswith("#")]
    comments = " ".join(line.strip().lstrip("#") for line in lines if line.strip().startswith("#"))
    digests = tuple(line.removeprefix("--hash=") for line in stated[1:] if line.startswith("--hash="))
    if len(digests) != len(stated) - 1:
        raise ValueError(f"the lock has more than digests for {stated[0]}")
    names = re.findall(r"[A-Za-z0-9][\w.-]*", re.sub(r"\(.*?\)|\bvia\b", " ", comments))
    return Pin(Requirement(stated[0]), digests, tuple(canonicalize_name(name) for name in names))


def asked(*extras: str) -> tuple[Requirement, ...]:
    """What `pyproject.toml` asks for itself, with these extras and what they include."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found = [Requirement(each) for each in project["dependencies"]]
    for extra in extras:
        for requirement in map(Requirement, project["optional-dependencies"][extra]):
            own = canonicalize_name(requirement.name) == project["name"]
            found += asked(*sorted(requirement.extras)) if own else [requirement]
    return tuple(found)


def needed(requirements: Iterable[Requirement]) -> dict[NormalizedName, tuple[Requirement, ...]]:
    """Every package but pip that these requirements bring to this machine, with all that is required of its version.

    pip is what installs them, as it came with Python. All is read off what is installed: a `PackageNotFoundError` where
    one of them isn't.
    """
    found: dict[NormalizedName, list[Requirement]] = {}
    seen: set[str] = set()
    waiting = [each for each in requirements if each.marker is None or each.marker.evaluate()]
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        found.setdefault(name, []).append(requirement)
        if str(requirement) not in seen:
            seen.add(str(requirement))
            waiting += _requires(name, requirement.extras)
    return {name: tuple(found[name]) for name in sorted(found) if name != "pip"}


def _requires(name: NormalizedName, extras: Iterable[str]) -> list[Requirement]:
    stated = [Requirement(each) for each in metadata.requires(name) or ()]
    return [
        each
        for each in stated
        if each.marker is None or any(each.marker.evaluate({"extra": extra}) for extra in ("", *extras))
    ]
