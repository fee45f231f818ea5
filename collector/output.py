"""Writes what `--out` asks for: the reports and the captures, for the owner's eyes only."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from collector import files, folders, rules
from collector.report import document, page
from collector.result import Result

if TYPE_CHECKING:
    from collector.campaigning import CampaignPlan
    from collector.planned import PairPlan


def captures_folder(out: Path) -> Path:
    """Where the captures go."""
    return out / "captures"


def prepare(out: Path) -> None:
    """Make the folder and see that it can be written to, before any controller is asked; OSError where it can't."""
    folders.make_private(out)
    files.see(out)


def write_reports(out: Path, result: Result) -> None:
    """Write report.json and report.html; OSError where that fails."""
    # Piece by piece: as a whole, those of a thousand pairs would take more memory than the sweep itself.
    write(out / "report.json", document.pieces(result))
    write(out / "report.html", page.pieces(result, rules.CATALOGUE))


def write_plans(out: Path, plans: Sequence[PairPlan], inventory: str, campaign: CampaignPlan | None = None) -> None:
    """Write plan.json, plan.html, procedure.html, and plan.ics where a plan has a window; OSError where that fails."""
    from collector.report import plan_document, plan_page
    from collector.report.calendar import calendar

    text = json.dumps(plan_document.document(plans, inventory, campaign), indent=2, ensure_ascii=False)
    write(out / "plan.json", text + "\n")
    write(out / "plan.html", plan_page.page(plans, inventory, campaign))
    write(out / "procedure.html", plan_page.procedure(plans))
    windows = calendar([each.plan for each in plans])
    if windows is None:
        # One from an earlier plan would tell of a window that there isn't any more.
        (out / "plan.ics").unlink(missing_ok=True)
    else:
        write(out / "plan.ics", windows.decode("utf-8"))


def write(path: Path, text: str | Iterable[str]) -> None:
    """Replace a file by this text, or by its pieces; OSError with the file's name where that fails."""
    pieces = (text,) if isinstance(text, str) else text
    files.replace(path, (piece.encode("utf-8") for piece in pieces))
