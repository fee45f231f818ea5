"""The fleet as comma-separated values, one row a pair, for a spreadsheet and for scripts that want no JSON.

Commas, quotes and line ends as in RFC 4180, encoded as UTF-8. The columns are a contract: more may be added behind
them, none changes its meaning or its place.
"""

from __future__ import annotations

import csv
import io

from collector.finding import Status
from collector.report import wording
from collector.report.visible import encodable, visible
from collector.result import MemberResult, PairResult, Result

COLUMNS = (
    "pair",
    "site",
    "verdict",
    "target_release",
    "window_start",
    "window_minutes",
    "member_1",
    "member_1_role",
    "member_1_reached",
    "member_1_release",
    "member_2",
    "member_2_role",
    "member_2_reached",
    "member_2_release",
    "blocks",
    "unknown",
    "cautions",
    "waived",
    "to_do_first",
    "to_do_when",
    "judged",
    "in_time",
)
# What a spreadsheet may take for the beginning of a formula: OWASP, "CSV Injection", which names these characters and
# advises to put a single quote before the text.
_FORMULA = tuple("=+-@\t\r\n＝＋－＠")


def table(result: Result) -> str:
    """The result as comma-separated values, with a heading; several rules stand in one cell, a blank between them."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for pair in result.pairs:
        writer.writerow(map(harmless, _row(result, pair)))
    return out.getvalue()


def harmless(text: str) -> str:
    """The text as a spreadsheet shows it and never computes it: a `'` before what could begin a formula.

    What would steer a terminal or hide is spelled out.
    """
    # Spelled out, a tab or a line end no longer begins it, but blanks that stand for them might.
    shown = encodable(visible(text))
    return f"'{shown}" if text.startswith(_FORMULA) or shown.lstrip().startswith(_FORMULA) else shown


def _row(result: Result, pair: PairResult) -> tuple[str, ...]:
    window = pair.pair.window
    first = pair.steps[0] if pair.steps else None
    return (
        pair.pair.name,
        pair.pair.site,
        pair.verdict.value,
        pair.target_release,
        wording.iso(window.start) if window else "",
        str(window.minutes) if window else "",
        *(cell for member in pair.members for cell in _member(member)),
        " ".join(wording.with_status(pair, Status.BLOCK)),
        " ".join(wording.with_status(pair, Status.UNKNOWN)),
        " ".join(wording.with_status(pair, Status.CAUTION)),
        " ".join(wording.waived_rules(pair)),
        first.remedy if first else "",
        wording.when(first) if first else "",
        wording.iso(result.finished),
        "yes" if pair.in_time else "no",
    )


def _member(member: MemberResult) -> tuple[str, str, str, str]:
    return member.name, member.role or "", "yes" if member.reached else "no", member.release or ""
