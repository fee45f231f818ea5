"""Writes what `--out` asks for: the reports and the captures, for the owner's eyes only."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path

from collector import rules
from collector.report import document, page
from collector.result import Result


def captures_folder(out: Path) -> Path:
    """Where the captures go."""
    return out / "captures"


def prepare(out: Path) -> None:
    """Make the folder and see that it can be written to, before any controller is asked; OSError where it can't."""
    out.mkdir(mode=0o700, parents=True, exist_ok=True)
    with tempfile.TemporaryFile(dir=out):
        pass


def write_reports(out: Path, result: Result) -> None:
    """Write report.json and report.html; OSError where that fails."""
    write(out / "report.json", json.dumps(document.document(result), indent=2, ensure_ascii=False) + "\n")
    write(out / "report.html", page.page(result, rules.CATALOGUE))


def write(path: Path, text: str) -> None:
    """Replace a file in one step, so that a reader never sees half of it."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
