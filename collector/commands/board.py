"""The fleet board: a folder of pages out of the store."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.choosing import open_fleet
from collector.commands.options import Commands, add_command, store_options
from collector.commands.remembering import named_store
from collector.commands.telling import GO, UsageError, complain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.report.board.site import Planned


def add(commands: Commands) -> None:
    """Offer `board`."""
    text = "write the fleet's pages out of the store, for any web server or none"
    command = add_command(commands, "board", do, text, store_options())
    command.add_argument("--out", metavar="DIR", type=Path, required=True, help="the board's own folder")
    inventory_help = "show the pairs of this inventory and their windows, not those of the stored reports"
    command.add_argument("--inventory", metavar="DIR", type=Path, help=inventory_help)
    plans_help = "show the plans that `readypair plan --all --out DIR` wrote there"
    command.add_argument("--plans", metavar="DIR", type=Path, help=plans_help)


def do(options: argparse.Namespace) -> int:
    """Write the board; its pairs' verdicts don't change the exit status, which tells of the writing."""
    import importlib.util
    from datetime import datetime

    if importlib.util.find_spec("matplotlib") is None:
        raise UsageError("the board's pictures are drawn by matplotlib; install it with: pip install '.[board]'")
    store = named_store(options)
    if store is None:
        raise UsageError("name the store with --store URL or FILE, or in READYPAIR_STORE")
    from collector.report.board import making, words
    from collector.report.board.folder import BoardError
    from collector.report.board.plans import read_plans

    planned = _planned(options.inventory) if options.inventory is not None else None
    try:
        plans = (options.plans, read_plans(options.plans)) if options.plans is not None else None
        board, left = making.make(store, options.out, datetime.now().astimezone(), planned, plans)
    except BoardError as error:
        raise UsageError(str(error)) from None
    for name in left:
        complain(f"{options.out / name} isn't wanted any more, but somebody else has written it: it was left", GO)
    print(f"{options.out / 'index.html'}: {words.counts(board.rows)}")
    return GO


def _planned(folder: Path) -> Sequence[Planned]:
    from collector.report.board.site import Planned

    return [Planned(pair.name, pair.site, pair.window) for pair in open_fleet(folder).pairs]
