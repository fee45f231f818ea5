"""What is known against the packages of the lock, as pip-audit hears it: `python -m tests.supply.audit`.

Exit status: 0 all of them were looked up and nothing is known; 1 something is; 3 some could not be looked up, and
nothing is known against the others. pip-audit itself ends with 0 and "no known vulnerabilities" where its service knows
none of the packages, as on a machine that reaches a mirror only: that is not knowing, so it is told apart here.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from packaging.utils import canonicalize_name

from tests.supply.lock import LOCK, Pin, pins

CLEAN, KNOWN, UNCHECKED = 0, 1, 3

_PATIENCE = 300


@dataclass(frozen=True)
class Audit:
    """How many packages were looked up, what is known against them, and those that weren't."""

    checked: int
    known: tuple[str, ...]
    unchecked: tuple[str, ...]

    @property
    def status(self) -> int:
        """The exit status."""
        if self.known:
            return KNOWN
        return UNCHECKED if self.unchecked or not self.checked else CLEAN

    def __str__(self) -> str:
        told = [f"{self.checked} packages looked up, {len(self.known)} known vulnerabilities", *self.known]
        if self.unchecked:
            which = ", ".join(self.unchecked) if self.checked else f"all {len(self.unchecked)} packages of the lock"
            told.append(f"NOT CHECKED for known vulnerabilities, since the service gave no answer from here: {which}")
        return "\n".join(told)


def audit(lock: Iterable[Pin]) -> Audit:
    """Look all packages up; one alone at first, so that a service that doesn't answer is asked once."""
    applying = tuple(pin for pin in lock if pin.applies())
    first = judged(_pip_audit(applying[:1]), applying[:1])
    if first.unchecked:
        return judged("", applying)
    return judged(_pip_audit(applying), applying)


def judged(answer: str, lock: Iterable[Pin]) -> Audit:
    """What pip-audit's JSON says of these packages; what it doesn't say, or says badly, is not checked."""
    try:
        rows = json.loads(answer)["dependencies"]
        looked_up = {
            (canonicalize_name(row["name"]), row["version"]): [_told(row, each) for each in row["vulns"]]
            for row in rows
            if "skip_reason" not in row
        }
    except (ValueError, KeyError, TypeError):
        looked_up = {}
    versions = [(pin.name, pin.version) for pin in lock]
    return Audit(
        checked=sum(each in looked_up for each in versions),
        known=tuple(told for each in versions for told in looked_up.get(each, ())),
        unchecked=tuple(f"{name} {version}" for name, version in versions if (name, version) not in looked_up),
    )


def _told(row: dict[str, str], vulnerability: dict[str, object]) -> str:
    mended = vulnerability.get("fix_versions")
    mend = f"mended in {', '.join(map(str, mended))}" if isinstance(mended, list) and mended else "not mended yet"
    return f"{row['name']} {row['version']}: {vulnerability['id']}, {mend}"


def _pip_audit(lock: Iterable[Pin]) -> str:
    """What it prints: JSON, or nothing where it gave up."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "lock.txt"
        path.write_text("".join(f"{pin.name}=={pin.version}\n" for pin in lock), encoding="utf-8")
        given = ("--requirement", str(path), "--no-deps", "--disable-pip", "--format", "json", "--timeout", "5")
        command = (sys.executable, "-m", "pip_audit", *given, "--progress-spinner", "off", "--desc", "off")
        try:
            ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=_PATIENCE)
        except subprocess.TimeoutExpired:
            return ""
    return ran.stdout


def main() -> int:
    """Look up, tell, and return the exit status."""
    found = audit(pins(LOCK.read_text(encoding="utf-8")))
    print(found)
    return found.status


if __name__ == "__main__":
    sys.exit(main())
