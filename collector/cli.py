"""The command line: parses arguments, calls, prints."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from collector import streams

if TYPE_CHECKING:
    from types import ModuleType

    from rich.console import Console, RenderableType

    from collector.campaigning import CampaignPlan
    from collector.plan.stages import History
    from collector.planned import PairPlan
    from collector.result import Result
    from collector.targets import Targets
    from inventory.opening import Fleet
    from inventory.pairs import Pair
    from inventory.windows import Night

GO, NOT_GO, WRONG_QUESTION, INTERNAL = 0, 1, 2, 3


class UsageError(Exception):
    """The question itself is wrong; the message is one sentence that says what to do."""


def run() -> NoReturn:
    """The entry point of the installed command."""
    sys.exit(main(sys.argv[1:]))


def main(arguments: Sequence[str]) -> int:
    """Do what the arguments say and return the exit status of DESIGN section 4.

    A reader that goes away before the end doesn't change it: the status tells of the pairs, not of the printing.
    """
    with streams.watched():
        try:
            return _do(arguments)
        except KeyboardInterrupt:
            return _complain("interrupted before there was anything to report", WRONG_QUESTION)
        except UsageError as error:
            return _complain(str(error), WRONG_QUESTION)
        except Exception as error:
            return _explain(error)


def _do(arguments: Sequence[str]) -> int:
    if sys.stdout is None:
        raise UsageError("standard output is closed; send it to a file, or to /dev/null to throw it away")
    try:
        options = _parser().parse_args(arguments)
        status: int = options.do(options)
    finally:
        sys.stdout.flush()
    return status


def _explain(error: Exception) -> int:
    """What a user can cause in a sentence, anything else as an internal error with its traceback."""
    from collector.credentials import CredentialsError
    from collector.recording import RecordingError
    from inventory.problems import InventoryError

    if isinstance(error, InventoryError):
        for problem in error.problems:
            _complain(str(problem), WRONG_QUESTION)
        return WRONG_QUESTION
    if isinstance(error, RecordingError | CredentialsError):
        return _complain(str(error), WRONG_QUESTION)
    if isinstance(error, OSError) and error.filename is not None:
        return _complain(f"{error.filename}: {error.strerror}", WRONG_QUESTION)
    import traceback

    traceback.print_exc()
    return _complain(f"internal error ({type(error).__name__}); please report the lines above", INTERNAL)


def _complain(sentence: str, status: int) -> int:
    print(f"readypair: {sentence}", file=sys.stderr)
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="readypair",
        description="Reads both controllers of every pair, read-only, and decides go or no-go for an in-service "
        "upgrade, with the lines each decision rests on.",
        epilog="Exit status: 0 every pair is go; 1 some pair is no-go or undecided; 2 the question was wrong; "
        "3 internal error.",
    )
    parser.add_argument("--version", action=_PrintVersion, nargs=0, help="show the version and exit")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    asking = _asking_options()
    narrowing = _narrowing_options()

    def add(
        name: str, do: Callable[[argparse.Namespace], int], text: str, *parents: argparse.ArgumentParser
    ) -> argparse.ArgumentParser:
        command = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".", parents=parents)
        command.set_defaults(do=do)
        return command

    add("demo", _demo, "sweep the demo fleet's simulated controllers on this machine over SSH", asking, narrowing)
    add("sweep", _sweep, "ask and judge every pair of an inventory", asking, narrowing)
    check = add("check", _check, "ask and judge one pair now, in detail", asking)
    check.add_argument("pair", metavar="PAIR", help="the pair's name in the inventory")
    check.add_argument("--target", metavar="RELEASE", help=_TARGET_HELP)
    replay = add("replay", _replay, "judge recorded captures by the same rules; no network", asking, narrowing)
    replay.add_argument("folder", metavar="DIR", type=Path, help="the folder with a folder of captures a member")
    replay.add_argument("--target", metavar="RELEASE", help=_TARGET_HELP)
    targets = add("targets", _targets, "show to which long-lived releases a pair could go, and what blocks")
    targets.add_argument("pair", metavar="PAIR", help="the pair's name in the inventory")
    targets.add_argument("--from", dest="folder", metavar="DIR", type=Path, help=_FROM_HELP)
    targets.add_argument("--inventory", metavar="DIR", type=Path, help=_INVENTORY_HELP)
    targets.add_argument("--json", action="store_true", help="print the result as JSON and nothing else")
    targets.add_argument("--quiet", action="store_true", help="no progress on standard error")
    plan = add(
        "plan",
        _plan,
        "lay out the window of a pair: its timeline, when to turn back, who notices",
        _asking_options("plan.json, plan.html, plan.ics, procedure.html and captures/"),
        narrowing,
    )
    plan.add_argument("pair", metavar="PAIR", nargs="?", help="the pair's name in the inventory")
    plan.add_argument("--all", action="store_true", help="every pair; --pairs and --site narrow it")
    plan.add_argument("--windows", metavar="FILE", type=Path, help="assign the pairs to the windows listed there")
    plan.add_argument("--from", dest="folder", metavar="DIR", type=Path, help=_PLAN_FROM_HELP)
    plan.add_argument("--target", metavar="RELEASE", help=_TARGET_HELP)
    record = add("record", _record, "make scrubbed fixtures of what a pair prints")
    record.add_argument("pair", metavar="PAIR", help="the pair's name in the inventory")
    record.add_argument("--into", metavar="DIR", type=Path, required=True, help="the folder for the members' folders")
    record.add_argument("--from", metavar="DIR", type=Path, dest="folder", help="scrub these recordings; ask nobody")
    record.add_argument("--as", metavar="NAME", nargs=2, dest="names", help="what to call the members instead")
    record.add_argument("--inventory", metavar="DIR", type=Path, help=_INVENTORY_HELP)
    record.add_argument("--quiet", action="store_true", help="no progress on standard error")
    read = add("read", _read, "show what the parser understands of one command's output")
    read.add_argument("text", metavar="COMMAND", help="the command that printed it, in quotes")
    read.add_argument("file", metavar="FILE", help="the file with the output; - reads standard input")
    read.add_argument("--json", action="store_true", help="print the facts as JSON")
    rules = add("rules", _rules, "list the rules, or show one in full")
    rules.add_argument("id", metavar="ID", nargs="?", help="the rule to show in full")
    policy = add("policy", _policy, "show the policy in force, where each value comes from, and what it lacks")
    policy.add_argument("--from", dest="folder", metavar="DIR", type=Path, help="look at what was recorded there, too")
    policy.add_argument("--inventory", metavar="DIR", type=Path, help=_INVENTORY_HELP)
    policy.add_argument("--json", action="store_true", help="print it as JSON")
    trust = add("trust", _trust, "show the host keys that members present and, once confirmed, record them", narrowing)
    trust.add_argument("--inventory", metavar="DIR", type=Path, help=_INVENTORY_HELP)
    trust.add_argument("--yes", action="store_true", help="record them without asking")
    return parser


class _PrintVersion(argparse.Action):
    """Looks the version up only when it is asked for: it costs more than all other options together."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"readypair {version('readypair')}")
        parser.exit()


_TARGET_HELP = "ask about this release instead of the inventory's target"
_PLAN_FROM_HELP = "plan from the captures recorded there; no network"
_FROM_HELP = "judge the captures recorded there; no network"
_INVENTORY_HELP = "the inventory folder (default: $READYPAIR_INVENTORY)"


def _asking_options(written: str = "report.json, report.html and captures/") -> argparse.ArgumentParser:
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument("--inventory", metavar="DIR", type=Path, help=_INVENTORY_HELP)
    options.add_argument("--out", metavar="DIR", type=Path, help=f"write {written} there")
    options.add_argument("--json", action="store_true", help="print the report as JSON and nothing else")
    options.add_argument("--workers", metavar="N", type=_workers, default=20, help="pairs asked at once (default: 20)")
    options.add_argument("--quiet", action="store_true", help="no progress on standard error")
    return options


def _narrowing_options() -> argparse.ArgumentParser:
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument("--pairs", metavar="GLOB", help="only pairs whose names match, such as 'quay*'")
    options.add_argument("--site", metavar="NAME", help="only pairs of this site")
    return options


def _workers(text: str) -> int:
    try:
        workers = int(text)
    except ValueError:
        workers = 0
    if not 1 <= workers <= 500:
        raise argparse.ArgumentTypeError(f"{text!r} must be a whole number from 1 to 500")
    return workers


# The commands, in the order of DESIGN section 4


def _demo(options: argparse.Namespace) -> int:
    from collector import demo

    fleet = _open(options.inventory or demo.inventory_folder())
    pairs = _narrow(fleet, options)
    _prepare_out(options)
    with demo.controllers(fleet) as running:
        demo.prepare(fleet, pairs, running)
        result = _ask(options, fleet, pairs, "ssh", demo.EVENING - datetime.now(UTC))
    return _tell_fleet(options, result)


def _sweep(options: argparse.Namespace) -> int:
    fleet = _open(options.inventory)
    pairs = _narrow(fleet, options)
    _prepare_out(options)
    _prepare_ssh(fleet, pairs)
    return _tell_fleet(options, _ask(options, fleet, pairs, "ssh"))


def _check(options: argparse.Namespace) -> int:
    fleet = _open(options.inventory)
    pair = _aimed(_pair(fleet, options.pair), options)
    _prepare_out(options)
    _prepare_ssh(fleet, [pair])
    result = _ask(options, fleet, [pair], "ssh")
    return _tell(options, result, lambda terminal: terminal.detail(result.pairs[0]))


def _replay(options: argparse.Namespace) -> int:
    from collector import job, recording

    fleet = _open(options.inventory)
    folder = recording.find(options.folder)
    pairs = [_aimed(pair, options) for pair in _narrow(fleet, options, recording.read_selection(folder))]
    if options.out is not None and recording.overlaps(options.out, folder):
        raise UsageError(f"--out {options.out} would write over the captures that are replayed; name another folder")
    _prepare_out(options)
    job.prepare_recorded(fleet.nornir, pairs, folder)
    return _tell_fleet(options, _ask(options, fleet, pairs, job.RECORDED))


def _targets(options: argparse.Namespace) -> int:
    from collector.finding import Verdict
    from collector.report import document, terminal

    fleet = _open(options.inventory)
    found = _judge_targets(options, fleet, _pair(fleet, options.pair))
    if options.json:
        _print_json(document.targets(found))
    else:
        _console().print(terminal.targets(found))
    _tell_notes(found.notes)
    return GO if any(target.verdict is Verdict.GO for target in found.targets) else NOT_GO


def _judge_targets(options: argparse.Namespace, fleet: Fleet, pair: Pair) -> Targets:
    from collector.report.progress import SweepProgress
    from collector.sweep import gather_pair
    from collector.targets import Targets, judge_targets
    from collector.waiving import idle

    connection = _prepare_recorded(options.folder, fleet, pair) if options.folder else "ssh"
    if not options.folder:
        _prepare_ssh(fleet, [pair])
    started = datetime.now().astimezone()
    with SweepProgress(1, quiet=options.quiet) as progress:
        captures = gather_pair(fleet, pair, connection=connection, asked=progress.asked)
        moment = datetime.now().astimezone()
        planned, targets = judge_targets(pair, captures, fleet.policy, moment, fleet.waivers)
        progress.judged(planned)
    notes = idle(fleet.waivers, fleet.pairs, [planned], moment)
    return Targets(started, moment, str(fleet.folder), planned, targets, notes)


def _prepare_recorded(given: Path, fleet: Fleet, pair: Pair) -> str:
    """Let the pair answer out of a recording; UsageError where it holds nothing of it."""
    from collector import job, recording

    folder = recording.find(given)
    if not {member.name for member in pair.members} & set(recording.members(folder)):
        raise UsageError(f"{given} holds no captures of {pair.name}; name the folder of a sweep that asked it")
    job.prepare_recorded(fleet.nornir, [pair], folder)
    return job.RECORDED


def _plan(options: argparse.Namespace) -> int:
    from collector import output
    from collector.campaigning import stands
    from collector.planned import Standing
    from collector.planning import nights_ahead, plan_campaign
    from collector.report import plan_document
    from inventory import history, windows

    fleet = _open(options.inventory)
    recorded = history.read_history(fleet.folder / history.FILE)
    pairs = _to_plan(fleet, options)
    nights: Sequence[Night] = ()
    if options.windows is not None:
        nights, passed = nights_ahead(windows.read_windows(options.windows), options.windows)
        _tell_notes(passed)
    _prepare_out(options)
    plans = _make_plans(options, fleet, pairs, recorded)
    campaign = None
    if nights:
        campaign, plans = plan_campaign(plans, nights, fleet, recorded)
    inventory = str(fleet.folder)
    if options.out is not None:
        output.write_plans(options.out, plans, inventory, campaign)
    if options.json:
        _print_json(plan_document.document(plans, inventory, campaign))
    else:
        _show_plans(options, plans, campaign)
    good = all(plan.standing is Standing.FITS for plan in plans) if campaign is None else stands(campaign, plans)
    return GO if good else NOT_GO


def _show_plans(options: argparse.Namespace, plans: Sequence[PairPlan], campaign: CampaignPlan | None) -> None:
    from collector.report import plan_terminal

    console = _console()
    if campaign is not None:
        console.print(plan_terminal.campaign(campaign))
        console.print()
    console.print(plan_terminal.fleet(plans) if options.all else plan_terminal.plan(plans[0]))


def _to_plan(fleet: Fleet, options: argparse.Namespace) -> list[Pair]:
    """The pairs to plan, aimed at the target that is asked about."""
    from collector import recording

    if options.all == (options.pair is not None):
        raise UsageError("name one PAIR, or give --all for every pair")
    if options.windows is not None and not options.all:
        raise UsageError("--windows plans a campaign; give --all for its pairs")
    if not options.all and (options.pairs or options.site):
        raise UsageError("--pairs and --site narrow --all; a PAIR stands for itself")
    if not options.all:
        return [_aimed(_pair(fleet, options.pair), options)]
    among = recording.read_selection(recording.find(options.folder)) if options.folder else None
    return [_aimed(pair, options) for pair in _narrow(fleet, options, among)]


def _make_plans(
    options: argparse.Namespace, fleet: Fleet, pairs: Sequence[Pair], recorded: History
) -> tuple[PairPlan, ...]:
    from collector import job, output, recording
    from collector.planning import plan_pairs
    from collector.report.progress import SweepProgress
    from collector.sweep import Listeners

    keep = None
    if options.folder is None:
        connection = "ssh"
        _prepare_ssh(fleet, pairs)
        keep = output.captures_folder(options.out) if options.out is not None else None
    elif options.all:
        connection = job.RECORDED
        job.prepare_recorded(fleet.nornir, pairs, recording.find(options.folder))
    else:
        connection = _prepare_recorded(options.folder, fleet, pairs[0])
    with SweepProgress(len(pairs), quiet=options.quiet) as progress:
        return plan_pairs(
            fleet,
            pairs,
            recorded,
            connection=connection,
            workers=options.workers,
            keep=keep,
            keep_snapshots=options.windows is not None,
            listeners=Listeners(progress.asked, progress.judged),
        )


def _record(options: argparse.Namespace) -> int:
    from collector import credentials, hostkeys, record, ssh
    from collector.report.progress import SweepProgress
    from collector.sweep import gather_pair

    fleet = _open(options.inventory)
    pair = _pair(fleet, options.pair)
    names = options.names or record.NAMES
    record.check(options.into, names, options.folder)
    users: set[str] = set()
    if options.folder:
        connection = _prepare_recorded(options.folder, fleet, pair)
    else:
        connection = "ssh"
        found = credentials.of_pairs(fleet.nornir, [pair])
        users = {own.username for own in found.values()}
        ssh.prepare(fleet.nornir, [pair], found, known_hosts=hostkeys.default_path())
    with SweepProgress(1, quiet=options.quiet) as progress:
        captures = gather_pair(fleet, pair, connection=connection, asked=progress.asked)
    moment = datetime.now().astimezone()
    made = record.fixtures(pair, captures, fleet.policy, moment, names=names, users=sorted(users))
    if made.recorded:
        record.write(options.into, made)
    for line in record.summary(made, options.into):
        print(line)
    for complaint in record.complaints(made):
        _complain(complaint, NOT_GO)
    return NOT_GO if record.complaints(made) else GO


def _read(options: argparse.Namespace) -> int:
    from parsers import Unreadable, catalogue, transcript
    from parsers import read as read_facts

    row = catalogue.find(options.text)
    if row is None:
        known = ", ".join(repr(command.text) for command in catalogue.COMMANDS)
        raise UsageError(f"{options.text!r} is not in the catalogue of commands; it has {known}")
    text = _input(options.file)
    try:
        facts = read_facts(row.text, text)
    except Unreadable as error:
        return _complain(f"{options.file}: can't be read as {row.text!r}: {error}", NOT_GO)
    if options.json:
        _print_json(facts.plain())
    else:
        from collector.report import terminal

        _console().print(terminal.facts(row.text, facts, transcript.split(text)))
    return GO


def _rules(options: argparse.Namespace) -> int:
    from collector import rules
    from collector.report import terminal

    if options.id is None:
        _console().print(terminal.catalogue(rules.CATALOGUE))
        return GO
    rule = rules.find(options.id)
    if rule is None:
        raise UsageError(f"there is no rule {options.id!r}; `readypair rules` lists them")
    _console().print(terminal.rule(rule))
    return GO


def _policy(options: argparse.Namespace) -> int:
    from collector import lacking, recording, rules
    from collector.report import document, terminal
    from inventory.explaining import explained

    fleet = _open(options.inventory)
    folder = recording.find(options.folder) if options.folder else None
    pairs = fleet.pairs
    if folder is not None:
        selection = recording.read_selection(folder)
        pairs = tuple(pair for pair in pairs if selection is None or pair.name in selection)
    seen = lacking.seen(pairs, folder) if folder is not None else None
    settings = explained(fleet.policy, fleet.policy_file, rules.weights())
    warnings = lacking.lacks(pairs, fleet.policy, seen)
    if options.json:
        _print_json(document.policy(fleet.policy_file, settings, warnings))
    else:
        _console().print(terminal.policy(fleet.policy_file, settings, warnings))
    return GO


def _trust(options: argparse.Namespace) -> int:
    from collector import hostkeys
    from collector.hostkeys import Standing
    from collector.report import terminal
    from collector.trust import meet

    fleet = _open(options.inventory)
    path = hostkeys.default_path()
    meetings = meet(fleet.nornir, _narrow(fleet, options), path)
    _console().print(terminal.meetings(meetings, path))
    new = [meeting.key for meeting in meetings if meeting.key and meeting.standing is Standing.UNKNOWN]
    if new and not (options.yes or _confirmed(f"Record {len(new)} new keys in {path}?")):
        return _complain("no key was recorded", NOT_GO)
    left = hostkeys.record(path, new)
    for key in new:
        if key not in left:
            print(f"recorded {key.host} {key.fingerprint}")
    trusted = not left and all(meeting.standing in (Standing.KNOWN, Standing.UNKNOWN) for meeting in meetings)
    return GO if trusted else NOT_GO


# What several commands need


def _open(folder: Path | None) -> Fleet:
    from collector import rules
    from inventory.opening import open_inventory

    if folder is None:
        named = os.environ.get("READYPAIR_INVENTORY")
        if not named:
            raise UsageError("name the inventory folder with --inventory DIR or in READYPAIR_INVENTORY")
        folder = Path(named)
    fleet = open_inventory(folder, rules.waivable())
    if fleet.unpaired:
        _complain(f"{folder}: in no pair and not asked: {', '.join(fleet.unpaired)}", GO)
    return fleet


def _narrow(fleet: Fleet, options: argparse.Namespace, among: Sequence[str] | None = None) -> list[Pair]:
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


def _pair(fleet: Fleet, name: str) -> Pair:
    pair = next((pair for pair in fleet.pairs if pair.name == name), None)
    if pair is None:
        raise UsageError(f"{fleet.folder} has no pair {name!r}; it has {', '.join(p.name for p in fleet.pairs)}")
    return pair


def _aimed(pair: Pair, options: argparse.Namespace) -> Pair:
    """The pair with the target that --target names, if it does."""
    from collector.judging import aimed_at

    if options.target is None:
        return pair
    try:
        return aimed_at(pair, options.target)
    except ValueError as error:
        raise UsageError(f"--target: {error}") from None


def _prepare_ssh(fleet: Fleet, pairs: Sequence[Pair]) -> None:
    from collector import credentials, hostkeys, ssh

    found = credentials.of_pairs(fleet.nornir, pairs)
    ssh.prepare(fleet.nornir, pairs, found, known_hosts=hostkeys.default_path())


def _prepare_out(options: argparse.Namespace) -> None:
    if options.out is not None:
        from collector import output

        output.prepare(options.out)


def _ask(
    options: argparse.Namespace, fleet: Fleet, pairs: Sequence[Pair], connection: str, shift: timedelta = timedelta(0)
) -> Result:
    from collector import output
    from collector.report.progress import SweepProgress
    from collector.sweep import Listeners, sweep

    with SweepProgress(len(pairs), quiet=options.quiet) as progress:
        result = sweep(
            fleet,
            pairs,
            connection=connection,
            workers=options.workers,
            keep=output.captures_folder(options.out) if options.out is not None else None,
            listeners=Listeners(progress.asked, progress.judged),
            shift=shift,
        )
    if options.out is not None:
        output.write_reports(options.out, result)
    return result


def _tell_fleet(options: argparse.Namespace, result: Result) -> int:
    return _tell(options, result, lambda terminal: terminal.fleet(result))


def _tell(options: argparse.Namespace, result: Result, picture: Callable[[ModuleType], RenderableType]) -> int:
    from collector.finding import Verdict
    from collector.report import document, terminal

    if options.json:
        _print_json(document.document(result))
    else:
        _console().print(picture(terminal))
    _tell_notes(result.notes)
    return GO if all(pair.verdict is Verdict.GO for pair in result.pairs) else NOT_GO


def _tell_notes(notes: Sequence[str]) -> None:
    for note in notes:
        _complain(note, GO)


def _console() -> Console:
    from collector.report import terminal

    return terminal.console(sys.stdout)


def _print_json(data: object) -> None:
    import json

    # Escaped, so that it can be printed whatever the locale.
    print(json.dumps(data, indent=2))


def _confirmed(question: str) -> bool:
    if not sys.stdin.isatty():
        raise UsageError("there is nobody to confirm the new keys; compare them and run it again with --yes")
    print(f"{question} [yes/no] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() == "yes"


def _input(name: str) -> str:
    if name == "-":
        return sys.stdin.buffer.read().decode("utf-8", "surrogateescape")
    return Path(name).read_bytes().decode("utf-8", "surrogateescape")
