"""The pairs that a command is about."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.telling import GO, UsageError, complain

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from inventory.opening import Fleet
    from inventory.pairs import Pair


def open_fleet(folder: Path | None) -> Fleet:
    """The fleet of this folder, or of READYPAIR_INVENTORY; UsageError where neither is named."""
    from collector import rules
    from inventory.opening import open_inventory

    if folder is None:
        named = os.environ.get("READYPAIR_INVENTORY")
        if not named:
            raise UsageError("name the inventory folder with --inventory DIR or in READYPAIR_INVENTORY")
        folder = Path(named)
    fleet = open_inventory(folder, rules.waivable())
    if fleet.unpaired:
        complain(f"{folder}: in no pair and not asked: {', '.join(fleet.unpaired)}", GO)
    return fleet


def narrow(fleet: Fleet, options: argparse.Namespace, among: Sequence[str] | None = None) -> list[Pair]:
    """The pairs that --pairs and --site leave of those named by `among`; UsageError where none is left."""
    from fnmatch import fnmatchcase

    pairs = [
        pair
        for pair in fleet.pairs
        if (among is None or pair.name in among)
        and (options.pairs is None or fnmatchcase(pair.name, options.pairs))
        and (options.site is None or pair.site.casefold() == options.site.casefold())
    ]
    if not pairs:
        asked = " and ".join(
            f"--{name} {value!r}" for name, value in (("pairs", options.pairs), ("site", options.site)) if value
        )
        wanted = asked or "what was recorded"
        raise UsageError(f"no pair of {fleet.folder} fits {wanted}; it has {', '.join(p.name for p in fleet.pairs)}")
    return pairs


def one_pair(fleet: Fleet, name: str) -> Pair:
    """The pair of this name; UsageError where the fleet has none."""
    pair = next((pair for pair in fleet.pairs if pair.name == name), None)
    if pair is None:
        raise UsageError(f"{fleet.folder} has no pair {name!r}; it has {', '.join(p.name for p in fleet.pairs)}")
    return pair


def aimed(pair: Pair, options: argparse.Namespace) -> Pair:
    """The pair with the target that --target names, if it does; UsageError where that is no release."""
    from collector.judging import aimed_at

    if options.target is None:
        return pair
    try:
        return aimed_at(pair, options.target)
    except ValueError as error:
        raise UsageError(f"--target: {error}") from None
