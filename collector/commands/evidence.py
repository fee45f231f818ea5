"""The evidence of a pair's window for its change ticket, and whether somebody's archive is good."""

from __future__ import annotations

import argparse
import os
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.choosing import one_pair, open_fleet
from collector.commands.options import INVENTORY_HELP, PAIR_HELP, Commands, add_command, store_options
from collector.commands.remembering import reading
from collector.commands.telling import GO, NOT_GO, WRONG_QUESTION, UsageError, complain

if TYPE_CHECKING:
    from collector.evidence.dossier import Inputs
    from collector.store.store import Store
    from inventory.opening import Fleet
    from inventory.pairs import Pair

_FILES = ("policy.yaml", "waivers.yaml", "history.yaml", "hosts.yaml", "groups.yaml", "defaults.yaml", "config.yaml")

_LONGEST_LINE, _LONGEST_NAME = 600, 100


def add(commands: Commands) -> None:
    """Offer `evidence`."""
    text = "put a pair's window together as one archive for the change ticket, or verify such an archive"
    command = add_command(commands, "evidence", do, text, store_options())
    command.add_argument("pair", metavar="PAIR", nargs="?", help=PAIR_HELP)
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    command.add_argument("--out", metavar="FILE", type=Path, help="write the archive there, such as quay.zip")
    text = "the side before: a night, or a judgement's number (default: the latest baseline before the window)"
    command.add_argument("--before", metavar="DATE|NUMBER", type=_judgement, help=text)
    text = "the side after: a night, or a judgement's number (default: the latest comparison)"
    command.add_argument("--after", metavar="DATE|NUMBER", type=_judgement, help=text)
    text = "verify this archive, offline; needs nothing else"
    command.add_argument("--verify", metavar="FILE", type=Path, help=text)


def do(options: argparse.Namespace) -> int:
    """Make an archive, or verify one: GO where it is good, NOT_GO where it isn't, WRONG_QUESTION where it is none."""
    if options.verify is not None:
        others = (options.pair, options.out, options.before, options.after, options.inventory, options.store)
        if any(each is not None for each in others):
            raise UsageError("--verify FILE stands alone: it needs no pair, store or inventory")
        return _verify(options.verify)
    if options.pair is None:
        raise UsageError("name the PAIR whose window it is, or an archive with --verify FILE")
    if options.out is None:
        raise UsageError("name the archive to write with --out FILE.zip")
    return _make(options)


def _make(options: argparse.Namespace) -> int:
    from collector import files
    from collector.evidence.archive import MOST_BYTES, TooLarge, digest
    from collector.evidence.choosing import EvidenceError, choose
    from collector.evidence.dossier import gather
    from collector.evidence.making import made

    fleet = open_fleet(options.inventory)
    pair = one_pair(fleet, options.pair)
    if options.out.is_dir():
        raise UsageError(f"--out {options.out} is a folder; name a file, such as {options.out / 'evidence.zip'}")
    if not options.out.parent.is_dir():
        raise UsageError(f"--out {options.out}: there is no folder {options.out.parent}; make it first")
    with reading(options) as store:
        try:
            chosen = choose(pair, store.judgements(pair.name), store.watches(pair.name), options.before, options.after)
            dossier = gather(store, _inputs(fleet, pair, store), chosen)
            archive = made(dossier)
        except EvidenceError as error:
            raise UsageError(str(error)) from None
        except TooLarge:
            raise UsageError(
                f"the evidence of {pair.name} comes to more than an archive holds ({MOST_BYTES:,} bytes in all); name "
                "other sides with --before and --after"
            ) from None
    files.replace(options.out, archive)
    for sentence in dossier.document["missing"]:
        complain(sentence, GO)
    changed = sum(each["lines_changed"] for each in dossier.document["captures"])
    if changed:
        complain(f"{changed} lines of captures held what looks like a secret: it was taken out, with a mark", GO)
    print(f"{digest(archive)}  {options.out}")
    return GO


def _inputs(fleet: Fleet, pair: Pair, store: Store) -> Inputs:
    from collector.evidence.dossier import Inputs, SiteFile
    from collector.plan.stages import merged
    from inventory import history

    folder = fleet.folder
    found = tuple(
        SiteFile(name, (folder / name).read_bytes() if (folder / name).is_file() else None) for name in _FILES
    )
    recorded = merged(history.read_history(folder / history.FILE), store.stage_durations())
    return Inputs(fleet, pair, recorded, found, _secrets(fleet))


def _secrets(fleet: Fleet) -> list[str]:
    """The passwords that the environment and the inventory hold: no archive has any of them, wherever it came from."""
    found = {os.environ.get(name) for name in ("READYPAIR_PASSWORD", "READYPAIR_SECRET")}
    inventory = fleet.nornir.inventory
    found.add(inventory.defaults.password)
    logins = (*inventory.hosts.values(), *inventory.groups.values())
    found |= {each.password for each in logins}
    options = (*(each.connection_options for each in logins), inventory.defaults.connection_options)
    for option in (option for each in options for option in each.values()):
        found.add(option.password)
        found |= {str(value) for key, value in (option.extras or {}).items() if "secret" in key or "pass" in key}
    return sorted(each for each in found if each)


def _verify(path: Path) -> int:
    from collector.evidence.archive import MOST_BYTES, NotAnArchive, digest
    from collector.evidence.verifying import verify

    if not path.is_file():
        raise UsageError(f"{path} is no file; name an archive that `readypair evidence PAIR --out FILE` wrote")
    with path.open("rb") as file:
        data = file.read(MOST_BYTES + 1)
    try:
        found = verify(data)
    except NotAnArchive as error:
        return complain(f"{path} is no archive of evidence: {error}", WRONG_QUESTION)
    except MemoryError:
        return complain(f"{path} takes more memory to read than there is; no archive of evidence does", WRONG_QUESTION)
    for fault in found.faults:
        print(_printable(f"{path}: {fault}"))
    if found.faults:
        return NOT_GO
    print(f"{digest(data)}  {path}")
    good = "good, the report aside" if found.made_by else "good"
    unchecked = f", {found.unchecked} not checked: their captures aren't in it" if found.unchecked else ""
    print(
        _printable(
            f"{good}: {_short(found.pair)}, {found.date}; {found.files} files, {found.lines} cited lines{unchecked}"
        )
    )
    print(
        "unchanged in itself; that it is the one that was handed in shows only its SHA-256 "
        f"{digest(data)}: compare it with the ticket's"
    )
    if found.made_by:
        said = f"report not looked at: made by another version ({found.made_by}); verify the archive with that one"
        return complain(_printable(said), NOT_GO)
    return GO


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else f"{name[:_LONGEST_NAME]}... ({len(name):,} characters)"


def _printable(text: str) -> str:
    """The text as this terminal can show it: names in an archive are anybody's."""
    from collector.report.visible import visible

    encoding = sys.stdout.encoding or "ascii"
    shown = text if len(text) <= _LONGEST_LINE else f"{text[:_LONGEST_LINE]}... ({len(text):,} characters)"
    return visible(shown).encode(encoding, "backslashreplace").decode(encoding)


def _judgement(text: str) -> date | int:
    """A night's date, or a judgement's number."""
    if text.isascii() and text.isdigit() and len(text) <= 18:
        return int(text)
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} must be a date such as 2027-01-31, or a number") from None
