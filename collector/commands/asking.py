"""How the members of the chosen pairs are asked: over SSH or out of a recording."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from collector.commands.telling import UsageError, tell_notes

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from collector.budget import Budget
    from collector.commands.remembering import Remembering
    from collector.commands.telling_on import TellingOn
    from collector.credentials import Credentials
    from collector.result import PairResult, Result
    from collector.sides import Taken
    from inventory.opening import Fleet
    from inventory.pairs import Pair


def prepare_ssh(fleet: Fleet, pairs: Sequence[Pair]) -> None:
    """Let the pairs answer over SSH."""
    from collector import hostkeys, ssh

    found = credentials_of(fleet, pairs)
    ssh.prepare(fleet.nornir, pairs, found, known_hosts=hostkeys.default_path())


def credentials_of(fleet: Fleet, pairs: Sequence[Pair]) -> Mapping[str, Credentials]:
    """The credentials of all members; says once which of them nobody can take out of what controllers say."""
    from collector import credentials

    found = credentials.of_pairs(fleet.nornir, pairs)
    tell_notes(credentials.not_maskable(found.values()))
    return found


def prepare_recorded(given: Path, fleet: Fleet, pair: Pair) -> str:
    """Let the pair answer out of a recording; returns the connection. UsageError where it holds nothing of it."""
    from collector import job, recording

    folder = recording.find(given)
    if not {member.name for member in pair.members} & set(recording.members(folder)):
        raise UsageError(f"{given} holds no captures of {pair.name}; name the folder of a sweep that asked it")
    job.prepare_recorded(fleet.nornir, [pair], folder)
    return job.RECORDED


def prepare_out(options: argparse.Namespace) -> None:
    """See that --out can be written before anybody is asked."""
    if options.out is not None:
        from collector import output

        if options.out.exists() and not options.out.is_dir():
            raise UsageError(f"--out {options.out} is a file; name a folder, which is made where there is none")
        output.prepare(options.out)


def ask(
    options: argparse.Namespace,
    fleet: Fleet,
    pairs: Sequence[Pair],
    connection: str,
    remembering: Remembering,
    telling_on: TellingOn,
    shift: timedelta = timedelta(0),
    budget: Budget | None = None,
    judged: Callable[[PairResult], None] | None = None,
) -> Result:
    """Ask, judge and remember the pairs, with progress on standard error; tell on, and write the reports for --out.

    What the disk doesn't take of those costs no verdict: `remembering.ended` says it.
    `budget` is the time that the asking has, and `judged` is told of each pair's result.
    """
    from collector import output
    from collector.noting import Noting
    from collector.report.progress import SweepProgress
    from collector.sweep import Listeners, NoMemory, sweep

    noting = Noting(fleet.policy, remembering.memory or NoMemory())

    def heard(pair: PairResult) -> None:
        options.stopped = lambda: stopped(options, remembering)
        if judged is not None:
            judged(pair)
        progress.judged(pair)

    with SweepProgress(len(pairs), quiet=options.quiet) as progress:
        result = sweep(
            fleet,
            pairs,
            connection=connection,
            workers=options.workers,
            keep=output.captures_folder(options.out) if options.out is not None else None,
            listeners=Listeners(progress.asked, heard, remembering.unwritten.captures),
            shift=shift,
            memory=noting,
            budget=budget,
            first=remembering.missed,
        )
    remembering.finish(result.finished)
    telling_on.tell(result, noting, remembering)
    if options.out is not None:
        with remembering.unwritten.attempt():
            output.write_reports(options.out, result)
    return result


def stopped(options: argparse.Namespace, remembering: Remembering) -> str:
    """What there is to say where a pair was judged and a signal ends it at once."""
    kept = ["in the store"] if remembering.keeps else []
    if options.out is not None and remembering.unwritten.nothing:
        kept.append(f"in {options.out}")
    where = f"; what was finished is kept {' and '.join(kept)}" if kept else ""
    return f"stopped at once, before all was told{where}"


def take(options: argparse.Namespace, fleet: Fleet, pair: Pair, remembering: Remembering) -> Taken:
    """Ask the pair over SSH for all that a comparison needs, judge and remember it, with progress on standard error.

    For --out its captures and reports are written.
    """
    from datetime import datetime

    from collector import output, sides
    from collector.report.progress import SweepProgress
    from collector.result import Ended, Result

    keep = output.captures_folder(options.out) if options.out is not None else None
    started = datetime.now().astimezone()
    with SweepProgress(1, quiet=options.quiet, verdict="readiness for an upgrade: ") as progress:
        taken = sides.take(
            fleet,
            pair,
            connection="ssh",
            keep=keep,
            asked=progress.asked,
            memory=remembering.memory,
            unkept=remembering.unwritten.captures,
        )
        options.stopped = lambda: stopped(options, remembering)
        progress.judged(taken.result)
    finished = datetime.now().astimezone()
    remembering.finish(finished)
    if options.out is not None:
        result = Result(started, finished, str(fleet.folder), (taken.result,), (), Ended.COMPLETE)
        with remembering.unwritten.attempt():
            output.write_reports(options.out, result)
    return taken
