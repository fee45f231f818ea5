"""The board's pages as text: the fleet's, a pair's and a rule's, with one style and one script for all of them.

Everything from outside is escaped by the template engine after `visible` has spelled out what can't be seen. Style and
script are files beside the pages, and the pages' policy lets nothing else run or load.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from hashlib import sha256
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from collector.report.board import words
from collector.report.board.addresses import stem
from collector.report.board.drawn import Lane, Trend
from collector.report.board.site import Board, Frame, Sheet
from collector.report.page import known_of_a_pair
from collector.report.templating import environment, own
from collector.rules import CATALOGUE
from collector.rules.rule import Rule

INDEX, STYLE, SCRIPT = "index.html", "board.css", "board.js"
_OLDEST = "The verdicts rest on answers since"
_OLDEST_UNDATED = "Some captures tell no time, and they may be older; the verdicts were made since"
_LAST = "Its last answer came on"
_LAST_UNDATED = "Its last captures tell no time, and they may be older; they were judged on"


@dataclass(frozen=True)
class Picture:
    """A drawn picture: its file, its size in pixels, what it says in words, and what it leaves out."""

    name: str
    content: bytes
    width: int
    height: int
    says: str
    leaves_out: str = ""

    @property
    def address(self) -> str:
        """Where a pair's page finds it: the content is in the address, so that no cache shows an earlier one."""
        return f"../pictures/{self.name}?{_short(self.content)}"


def style() -> bytes:
    """The text of `board.css`: the report's own style, and what the board has besides."""
    return own("page.css", "plan.css", "board/board.css").encode()


def script() -> bytes:
    """The text of `board.js`."""
    return own("board/board.js").encode()


def index(board: Board) -> str:
    """The fleet's page."""
    return _render("board.html.jinja", board.frame, board.heard, _oldest(board), up="", board=board)


def _oldest(board: Board) -> str:
    return _OLDEST if board.dated else _OLDEST_UNDATED


def pair(sheet: Sheet, frame: Frame, history: Picture | None, flash: Picture | None) -> str:
    """A pair's page with its pictures."""
    return _render(
        "pair.html.jinja",
        frame,
        sheet.row.heard,
        _LAST if sheet.row.dated else _LAST_UNDATED,
        sheet=sheet,
        row=sheet.row,
        rule_pages=_rule_pages(),
        history=history,
        flash=flash,
        flash_rows=_flash_rows(sheet.trends),
    )


def rule(rule: Rule, board: Board) -> str:
    """A rule's page, with the pairs that don't pass it."""
    return _render("rule.html.jinja", board.frame, board.heard, _oldest(board), rule=rule, rows=board.rows)


def history_says(sheet: Sheet, lanes: Sequence[Lane]) -> str:
    """What the drawn history says in words."""
    return words.history_picture(sheet, [(lane.name, lane.nights) for lane in lanes if lane.standing is None])


def history_leaves_out(sheet: Sheet, lanes: Sequence[Lane]) -> str:
    """How many rules have no lane, in words; empty where all have one."""
    return words.not_drawn(sheet, sum(lane.standing is None for lane in lanes))


def flash_says(sheet: Sheet) -> str:
    """What the drawn flash says in words."""
    return words.flash_picture(sheet)


def _render(
    template: str, frame: Frame, heard: datetime | None, heard_called: str, up: str = "../", **more: Any
) -> str:
    return (
        _environment()
        .get_template(f"board/{template}")
        .render(
            frame=frame,
            heard=heard,
            heard_called=heard_called,
            fresh_hours=words.fresh_hours(frame),
            up=up,
            style_digest=_short(style()),
            script_digest=_short(script()),
            **more,
        )
    )


@cache
def _environment() -> Environment:
    return environment(**known_of_a_pair(), words=words, stem=stem, rules=CATALOGUE)


@cache
def _rule_pages() -> dict[str, str]:
    return {rule.id: f"../rules/{stem(rule.id)}.html" for rule in CATALOGUE}


def _short(content: bytes) -> str:
    return sha256(content).hexdigest()[:12]


def _flash_rows(trends: Sequence[Trend]) -> Markup:
    """The rows of the flash's table, the latest night first: too many of them for the template engine's own loops."""
    nights: dict[date, dict[str, tuple[int | None, int | None]]] = {}
    for trend in trends:
        for each in trend.readings:
            nights.setdefault(each.night, {})[trend.member] = (each.free, each.needed)
    rows = []
    for night in sorted(nights, reverse=True):
        sizes = [size for trend in trends for size in nights[night].get(trend.member, (None, None))]
        cells = "".join(f"<td>{text}</td>" for text in words.flash_row(sizes))
        rows.append(f'<tr><th scope="row">{night.isoformat()}</th>{cells}</tr>')
    return Markup("\n".join(rows))  # noqa: S704 - dates, figures and words of our own
