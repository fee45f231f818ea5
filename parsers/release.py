"""Releases and ROM monitor versions, compared as the trade compares them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import total_ordering

_RELEASE_IN_NAME = re.compile(r"(?<![0-9])(?<![0-9]\.)[0-9]{1,4}\.[0-9]{1,4}\.[0-9]{1,4}[a-z]{0,3}(?![a-z])")
_RELEASE = re.compile(r"(\d{1,4})\.(\d{1,4})(?:\.(\d{1,4})([a-z]{0,3})((?:\.\d{1,9})*))?", re.ASCII)
# No other letter than the trade's `r` may follow the numbers: where any might, noise in its place would compare.
_ROM_MONITOR = re.compile(
    r"(\d{1,4})\.(\d{1,4})(?:\.(\d{1,4})|\((\d{1,4})(r?)\))?((?:\.\d{1,9}){0,8}(?:r[a-z0-9]{0,20})?)", re.ASCII
)


@total_ordering
@dataclass(frozen=True)
class Release:
    """A software release such as 17.9.4a; padded forms (17.09.04a) and builds (17.12.03.0.1234) are the same release.

    Two builds of one release are equal as releases: what a controller supports is stated by release, not by build.
    """

    major: int
    minor: int
    maintenance: int
    letter: str = ""

    @classmethod
    def parse(cls, text: str) -> Release:
        """Read a release as a controller or a policy writes it; ValueError where it is none."""
        found = _RELEASE.fullmatch(text.strip())
        if found is None or found[3] is None:
            raise ValueError(f"{text!r} is not a release such as 17.9.4a")
        return cls(int(found[1]), int(found[2]), int(found[3]), found[4])

    @property
    def train(self) -> str:
        """The train that the release belongs to, such as 17.9."""
        return f"{self.major}.{self.minor}"

    def __str__(self) -> str:
        return f"{self.major}.{self.minor}.{self.maintenance}{self.letter}"

    def __lt__(self, other: Release) -> bool:
        return self._key() < other._key()

    def _key(self) -> tuple[int, int, int, str]:
        return (self.major, self.minor, self.maintenance, self.letter)


def plain(text: str) -> str:
    """The release without padding or build number: 17.09.04a becomes 17.9.4a; ValueError where it is none."""
    return str(Release.parse(text))


def named(name: str) -> Release | None:
    """The release that a package's name tells, which may be a path; None where it tells none."""
    found = _RELEASE_IN_NAME.search(name)
    return Release.parse(found[0]) if found is not None else None


def train(text: str) -> str:
    """The train written without padding: 17.09 becomes 17.9; ValueError where it is none."""
    found = _RELEASE.fullmatch(text.strip())
    if found is None or found[3] is not None:
        raise ValueError(f"{text!r} is not a train such as 17.9")
    return f"{int(found[1])}.{int(found[2])}"


@total_ordering
@dataclass(frozen=True)
class RomMonitor:
    """A ROM monitor version: 17.12.1r, 16.12(3r) and 16.12(3)r alike; compared by its numbers, then its letters."""

    numbers: tuple[int, int, int]
    suffix: str
    text: str

    @classmethod
    def parse(cls, text: str) -> RomMonitor:
        """Read a version as a controller or a policy writes it; ValueError where it is none."""
        found = _ROM_MONITOR.fullmatch(text.strip())
        if found is None:
            raise ValueError(f"{text!r} is not a ROM monitor version such as 17.12.1r or 16.12(3r)")
        numbers = (int(found[1]), int(found[2]), int(found[3] or found[4] or 0))
        suffix = ((found[5] or "") + found[6]).lstrip("r")
        return cls(numbers, suffix, text.strip())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, RomMonitor) and self._key() == other._key()

    def __hash__(self) -> int:
        return hash(self._key())

    def __lt__(self, other: RomMonitor) -> bool:
        return self._key() < other._key()

    def __str__(self) -> str:
        return self.text

    def _key(self) -> tuple[tuple[int, int, int], tuple[tuple[int, str], ...]]:
        parts = re.findall(r"[0-9]+|[a-z]+", self.suffix)
        return (self.numbers, tuple((int(part), "") if part.isdigit() else (-1, part) for part in parts))
