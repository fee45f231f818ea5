"""Makes a board: reads each pair's nights out of the store, draws its pictures, and writes the pages into the folder.

Pairs are made one by one, in several processes where there are many: drawing is most of the work. The fleet's page is
written last, so that whoever comes in by it finds all others.
"""

from __future__ import annotations

import atexit
import logging
import os
import signal
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from multiprocessing import get_context
from pathlib import Path

from collector.report.board import drawn, folder, pages, site
from collector.report.board.addresses import stem
from collector.report.board.pages import Picture
from collector.report.board.plans import PAGES, PlanCard
from collector.report.board.site import Board, Frame, Planned, Row, Sheet
from collector.rules import CATALOGUE
from collector.store.store import Store, opened

# Each process has the drawing library and the store's cache to itself, so more of them take more memory than they save
# time; and below so many pairs starting them takes longer than making the pages.
_PROCESSES, _WORTH_IT, _AT_ONCE = 2, 40, 8

# Before the drawing library is loaded: that it makes a list of fonts, or finds no home for it, is nothing to do about.
logging.getLogger("matplotlib").setLevel(logging.ERROR)


@dataclass(frozen=True)
class MadePair:
    """A pair's row in the fleet's table, None for one that nobody asks any more, and its files with their digests."""

    name: str
    row: Row | None
    files: Mapping[str, str]


@dataclass(frozen=True)
class Desk:
    """What making the pairs' files takes."""

    url: str
    frame: Frame
    path: Path
    mode: int

    def make(self, store: Store, name: str) -> MadePair:
        """Write the pair's page and pictures."""
        sheet = site.sheet_of(store, name, self.frame)
        if sheet is None:
            return MadePair(name, None, {})
        written = files_of(sheet, self.frame)
        return MadePair(
            name,
            sheet.row,
            {file: folder.write(self.path, file, content, self.mode) for file, content in written.items()},
        )


def files_of(sheet: Sheet, frame: Frame) -> dict[str, bytes]:
    """A pair's files: the pictures first, then the page that shows them."""
    history, flash = _history(sheet), _flash(sheet)
    files = {f"pictures/{each.name}": each.content for each in (history, flash) if each is not None}
    files[f"pairs/{sheet.row.page}"] = _encoded(pages.pair(sheet, frame, history, flash))
    return files


def make(
    url: str,
    out: Path,
    made: datetime,
    planned: Sequence[Planned] | None = None,
    plans: tuple[Path, Mapping[str, PlanCard]] | None = None,
    processes: int | None = None,
) -> tuple[Board, tuple[str, ...]]:
    """Make the board of the store at this URL in a folder, as of this moment.

    `planned` are the pairs of an inventory; `plans` are a folder of plans and what was read out of it; `processes` work
    at it, None: as many as are worth it. Returns the board and the names of files that aren't wanted any more but were
    left, since somebody else has written them. Raises StoreError, BoardError, or OSError with a file's name.
    """
    with opened(url, existing=True) as store:
        frame = site.frame_of(store, made, planned, plans[1] if plans else None)
        names = site.names_of(store, frame)
    with folder.opened(out) as into:
        into.announce(_files(names, with_plans=plans is not None))
        into.write(pages.STYLE, pages.style())
        into.write(pages.SCRIPT, pages.script())
        for page in PAGES if plans else ():
            assert plans is not None
            into.write(page, (plans[0] / page).read_bytes())
        rows, gone = [], []
        for pair in _made(Desk(url, frame, out, into.mode), names, processes):
            into.written.update(pair.files)
            if pair.row is None:
                gone.append(pair.name)
            else:
                rows.append(pair.row)
        board = site.board_of(frame, rows, gone if planned is None else ())
        for rule in CATALOGUE:
            into.write(f"rules/{stem(rule.id)}.html", _encoded(pages.rule(rule, board)))
        into.write(pages.INDEX, _encoded(pages.index(board)))
        return board, into.close()


def _made(desk: Desk, names: Sequence[str], processes: int | None) -> Iterator[MadePair]:
    count = processes or (_PROCESSES if len(names) >= _WORTH_IT else 1)
    if min(count, len(os.sched_getaffinity(0))) == 1:
        with opened(desk.url, existing=True) as store:
            yield from (desk.make(store, name) for name in names)
        return
    with ProcessPoolExecutor(count, get_context("spawn"), _prepare, (desk,)) as pool:
        yield from pool.map(_make, names, chunksize=_AT_ONCE)


# Of a process that makes pairs: its desk, the store once it is open, and what is done when the process ends.
_desks: list[Desk] = []
_stores: list[Store] = []
_at_the_end = ExitStack()


def _prepare(desk: Desk) -> None:
    # Ctrl-C is for the process that somebody started.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    atexit.register(_at_the_end.close)
    _desks.append(desk)


def _make(name: str) -> MadePair:
    # Not earlier: what goes wrong in the opening is to reach whoever asks for a pair.
    if not _stores:
        _stores.append(_at_the_end.enter_context(opened(_desks[0].url, existing=True)))
    return _desks[0].make(_stores[0], name)


def _files(names: Iterable[str], *, with_plans: bool) -> Iterator[str]:
    """All files that a board of these pairs may have."""
    yield from (pages.INDEX, pages.STYLE, pages.SCRIPT)
    yield from PAGES if with_plans else ()
    yield from (f"rules/{stem(rule.id)}.html" for rule in CATALOGUE)
    for name in names:
        yield from (f"pairs/{stem(name)}.html", *(f"pictures/{stem(name)}-{each}.svg" for each in ("history", "flash")))


def _history(sheet: Sheet) -> Picture | None:
    # Here, since the process that only hands the pairs out would take the drawing library's memory for nothing.
    from collector.report.board import charts

    if sheet.shown is None or sheet.shown.nights < 2:
        return None
    lanes = drawn.lanes(sheet.stretches)
    content = charts.history(lanes, sheet.shown)
    name, height = f"{stem(sheet.row.name)}-history.svg", charts.history_height(len(lanes))
    says, leaves_out = pages.history_says(sheet, lanes), pages.history_leaves_out(sheet, lanes)
    return Picture(name, content, charts.WIDTH, height, says, leaves_out)


def _flash(sheet: Sheet) -> Picture | None:
    from collector.report.board import charts

    if sheet.flash_shown is None:
        return None
    content = charts.flash(sheet.trends, sheet.flash_shown)
    name = f"{stem(sheet.row.name)}-flash.svg"
    return Picture(name, content, charts.WIDTH, charts.FLASH_HEIGHT, pages.flash_says(sheet))


def _encoded(text: str) -> bytes:
    return text.encode("utf-8")
