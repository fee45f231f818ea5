"""What is printed in a terminal. Every text from outside goes through `visible` and is never read as markup."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from collector.finding import Evidence, Finding, Status, Verdict
from collector.ordering import Step
from collector.report import layout, wording
from collector.report.layout import folded
from collector.report.visible import visible
from collector.result import PairResult, Result
from collector.rules.rule import Rule
from collector.targets import TargetResult, Targets
from inventory.explaining import Setting
from parsers import Facts

if TYPE_CHECKING:
    from collector.trust import Meeting

EVIDENCE_LINES = 12
_READ_LINES = 40
_SHORT_NAME = 14
_SHORT_RULE = 19
_SHORT_KEY = 32
_TROUBLE = (Status.BLOCK, Status.UNKNOWN, Status.CAUTION)
_IN_THE_TABLE = ((Status.BLOCK, ""), (Status.UNKNOWN, "unknown:\n"), (Status.CAUTION, "caution:\n"))
_WHY = "Why a rule matters, with a good and a bad example: readypair rules ID"


_LEAST_COLUMNS = 40


def console(file: IO[str]) -> Console:
    """A console on this file: colours only on a terminal, elsewhere 80 columns or what COLUMNS says, 40 at least."""
    made = Console(file=file, highlight=False, markup=False, emoji=False)
    # Of a verdict on fewer nothing is left to read; on none at all nothing would be printed.
    made.width = max(made.width, _LEAST_COLUMNS)
    return made


def fleet(result: Result) -> RenderableType:
    """All pairs as a table, what decides against each pair that isn't go with its lines, and the counts."""
    not_go = [pair for pair in result.pairs if pair.verdict is not Verdict.GO]
    return Group(
        _fleet_table(result),
        *(layout.blank(_reasons(pair)) for pair in not_go),
        *_waived(result),
        *_closing(result.pairs),
        layout.blank(Text(wording.counts(result), "bold")),
        *([Text(late, "bold")] if (late := wording.not_in_time(result)) else ()),
    )


def detail(pair: PairResult) -> RenderableType:
    """One pair in full: what it is, then every finding, the worst first, with remedy and lines."""
    to_do = wording.steps(pair)
    numbers = {step.rule: number for number, step in enumerate(to_do, start=1)}
    told = _with_left_unknown(pair, wording.told(pair), lambda finding: _full(finding, numbers.get(finding.rule)))
    steps = [layout.blank(_steps(to_do))] if to_do else []
    return Group(_head(pair), *steps, *map(layout.blank, told), *_closing([pair]))


def targets(found: Targets) -> RenderableType:
    """Where a pair could go: a table of targets, then of each that isn't go what decides against it."""
    table = layout.table("Target", "Verdict", "In-service path", "What blocks")
    for column in table.columns[:2]:
        column.no_wrap = True
    for target in found.targets:
        blocks = _in_short(target.result) if target.result else folded(", ".join(target.blocks) or "not judged")
        table.add_row(folded(target.target, "bold"), _word(target.verdict), _path(target), blocks)
    about: dict[str, list[str]] = {}
    for target in found.targets:
        for note in target.notes:
            about.setdefault(note, []).append(target.target)
    against = [each.result for each in found.targets if each.result and each.verdict is not Verdict.GO]
    return Group(
        _head(found.planned),
        layout.blank(table),
        *(layout.blank(folded(f"{', '.join(targets)}: {note}")) for note, targets in about.items()),
        *(layout.blank(_against(result)) for result in against),
        *_closing([found.planned]),
    )


def _path(target: TargetResult) -> Text:
    return folded(" to ".join(target.path)) if target.path else Text("none known")


def _against(result: PairResult) -> RenderableType:
    head = Text.assemble(folded(result.target_release, "bold"), ": ", _word(result.verdict))
    deciding = [finding for finding in wording.told(result) if finding.decides]
    return Group(head, *map(layout.indented, _with_left_unknown(result, deciding, _finding)))


def catalogue(rules: Sequence[Rule]) -> RenderableType:
    """The rules as a table of id and title."""
    table = layout.table("Rule", "Asks")
    table.columns[0].no_wrap = True
    for rule in rules:
        table.add_row(folded(rule.id, "bold"), folded(rule.title))
    return table


def rule(rule: Rule) -> RenderableType:
    """One rule in full: what it asks, why, what it needs, a good and a bad example."""
    return Group(
        Text.assemble(folded(rule.id, "bold"), "  ", folded(rule.title)),
        layout.blank(folded(rule.why)),
        layout.blank(_paragraph("Looks at", rule.needs or ["the manifests of the captures"])),
        layout.blank(_paragraph("Good", rule.good.splitlines())),
        layout.blank(_paragraph("Bad", rule.bad.splitlines())),
    )


def policy(file: Path, settings: Sequence[Setting], warnings: Sequence[str]) -> RenderableType:
    """The policy in force as a table of keys, values and where each comes from, then what it lacks."""
    table = layout.table("Key", "Value", "From")
    table.columns[2].no_wrap = True
    for setting in settings:
        source = folded(wording.source(setting, file), "" if setting.line else "dim")
        table.add_row(_key(setting.key), folded(wording.setting(setting)), source)
    lacks = [layout.blank(_paragraph("What the policy lacks", warnings))] if warnings else []
    return Group(
        folded(f"The policy in force, from {file}"),
        layout.blank(table),
        *lacks,
    )


def _key(key: str) -> Text:
    """A key's path; the last part of a long one stands on a line of its own, lest it be broken anywhere."""
    above, _, last = key.rpartition(".")
    return folded(key) if len(key) <= _SHORT_KEY else Text.assemble(folded(f"{above}."), "\n  ", folded(last))


def facts(command: str, facts: Facts, printed: Sequence[str]) -> RenderableType:
    """What the parser understood of one output: values with their lines, lists as tables, then those very lines."""
    values = layout.table("Field", "Value", "Read from")
    tables: list[RenderableType] = []
    for name, value in _fields(facts):
        if _is_list(value):
            tables.append(layout.blank(_list(name, value, facts.lines_of(name))))
        else:
            values.add_row(folded(name), _value(value), folded(_read_from(facts.lines_of(name))))
    parts: list[RenderableType] = [folded(command, "bold")]
    if values.row_count:
        parts.append(values)
    numbers = tuple(n for n in facts.lines_of(*facts.at) if 1 <= n <= len(printed))
    shown = _numbered(numbers[:_READ_LINES], [printed[n - 1] for n in numbers[:_READ_LINES]])
    lines = (
        [layout.blank(Group(Text("The lines", "bold"), shown, *_more(len(numbers) - _READ_LINES, "")))]
        if numbers
        else []
    )
    return Group(*parts, *tables, *lines)


def _fleet_table(result: Result) -> Table:
    table = layout.table("Pair", "Site", "Verdict", "Target", "Window", "What blocks")
    for column in table.columns:
        column.no_wrap = column.header in ("Verdict", "Target", "What blocks")
    # A window's day and time stand in two lines where there is no room for one, but are never broken themselves.
    table.columns[4].min_width = len("23:00+01:00")
    table.columns[0].no_wrap = all(len(visible(pair.pair.name)) <= _SHORT_NAME for pair in result.pairs)
    for pair in result.pairs:
        table.add_row(
            folded(pair.pair.name, "bold"),
            folded(pair.pair.site),
            _word(pair.verdict),
            folded(pair.target_release),
            folded(wording.moment(pair.pair.window.start) if pair.pair.window else "none"),
            _in_short(pair),
        )
    return table


def _in_short(pair: PairResult) -> Text:
    rows = []
    # Of one that nobody asked, only what blocks without an answer is worth a word; all the rest is unknown.
    shown = _IN_THE_TABLE if pair.in_time else _IN_THE_TABLE[:1]
    troubles = [(wording.with_status(pair, status), label) for status, label in shown]
    troubles.insert(2, (wording.waived_rules(pair), "waived:\n"))
    for rules, label in troubles:
        if rules:
            rows.append(Text.assemble(label, folded(rules[0]), _and_more(rules)))
    if not pair.in_time:
        rows.append(Text("not reached in time"))
    return Text("\n").join(rows) if rows else Text("nothing")


def _and_more(rules: Sequence[str]) -> str:
    """How many rules there are besides the first, on a line of its own where the first leaves no room."""
    more = f"+{len(rules) - 1}"
    if len(rules) == 1:
        return ""
    return f" {more}" if len(rules[0]) + len(more) < _SHORT_RULE else f"\n{more}"


def _reasons(pair: PairResult) -> RenderableType:
    head = Text.assemble(folded(pair.pair.name, "bold"), ", ", folded(pair.pair.site), ": ", _word(pair.verdict))
    if not pair.in_time and pair.verdict is Verdict.UNDECIDED:
        return Group(head, layout.indented(folded(wording.too_late(pair))))
    silent = [folded(f"{member.name}: {wording.member(member)}") for member in wording.unreached(pair)]
    deciding = [finding for finding in wording.told(pair) if finding.decides]
    told = _with_left_unknown(pair, deciding, lambda finding: _finding(finding, *_evidence(finding.evidence)))
    parts: list[RenderableType] = [*silent, *told]
    if steps := wording.steps(pair):
        parts.append(_steps_in_short(steps))
    return Group(head, *map(layout.indented, parts))


def _with_left_unknown(
    pair: PairResult, findings: Sequence[Finding], shown: Callable[[Finding], RenderableType]
) -> list[RenderableType]:
    """The findings, and behind the blocks, in one entry, the rules that only a member's silence leaves unknown."""
    said = wording.left_unknown(pair)
    left: list[RenderableType] = [Group(_word(Status.UNKNOWN), layout.indented(folded(said)))] if said else []
    blocks = [shown(finding) for finding in findings if finding.status is Status.BLOCK and finding.decides]
    return [*blocks, *left, *(shown(finding) for finding in findings[len(blocks) :])]


def _waived(result: Result) -> list[RenderableType]:
    """Every block that counts for nothing because somebody accepts it; one that hides an unknown decides above."""
    found = ((pair, finding) for pair in result.pairs for finding in pair.findings)
    waived = [(pair, finding) for pair, finding in found if finding.waiver and not finding.decides]
    rows = (
        Group(
            Text.assemble(folded(pair.pair.name, "bold"), ", ", folded(pair.pair.site)),
            layout.indented(_finding(finding)),
        )
        for pair, finding in waived
    )
    return [layout.blank(Group(Text("Waived, and counted as no block until the date:"), *rows))] if waived else []


def _closing(pairs: Sequence[PairResult]) -> Iterable[RenderableType]:
    if weights := wording.weights(pairs):
        yield layout.blank(folded(f"Weighed by the site's policy, not by default: {weights}"))
    yield layout.blank(Text(_WHY))


def _steps(steps: Sequence[Step]) -> RenderableType:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(justify="right", no_wrap=True)
    grid.add_column(overflow="fold")
    for number, step in enumerate(steps, start=1):
        head = Text.assemble(folded(step.rule, "bold"), f" ({wording.when(step)})")
        grid.add_row(f"{number}.", Group(head, folded(step.remedy)))
    return Group(Text("What to do, in this order", "bold"), layout.indented(grid))


def _steps_in_short(steps: Sequence[Step]) -> Text:
    """The rules in the order of mending, each with when it may be and what it may do."""
    parts = Text(", then ").join(
        Text.assemble(folded(step.rule), f" ({wording.when_in_short(step)})") for step in steps
    )
    return Text.assemble(("To do, in this order: " if len(steps) > 1 else "To do: ", "bold"), parts)


def _head(pair: PairResult) -> RenderableType:
    grid = layout.grid()
    grid.add_row("Verdict", _word(pair.verdict))
    grid.add_row("Site", folded(pair.pair.site))
    for member in pair.members:
        grid.add_row("Member", folded(f"{member.name}: {wording.member(member)}"))
    grid.add_row("Target", folded(pair.target_release))
    grid.add_row("Window", folded(wording.window(pair.pair.window) if pair.pair.window else "none in the inventory"))
    grid.add_row("Image", folded(wording.image(pair.pair.image) if pair.pair.image else "none in the inventory"))
    return Group(folded(pair.pair.name, "bold"), grid)


def _full(finding: Finding, step: int | None) -> RenderableType:
    """A finding with what to do (`step` is its number among the pair's steps), the lines, and why it matters."""
    parts: list[RenderableType] = []
    remedy = f"step {step} above" if step else finding.remedy
    if remedy:
        parts.append(Text.assemble(("What to do: ", "bold"), folded(remedy)))
    if finding.why and finding.status in _TROUBLE:
        parts.append(Text.assemble(("Why it matters: ", "bold"), folded(finding.why)))
    return _finding(finding, *parts, *_evidence(finding.evidence))


def _finding(finding: Finding, *more: RenderableType) -> RenderableType:
    word = Text.assemble(_word(finding.status), ", waived" if finding.waiver else "")
    notes = (note for note in (wording.waived(finding), wording.weighed(finding)) if note)
    return Group(
        Text.assemble(word, "  ", folded(finding.rule, "bold")),
        *(layout.indented(part) for part in (folded(finding.statement), *map(folded, notes), *more)),
    )


def _evidence(evidence: Iterable[Evidence]) -> Iterable[RenderableType]:
    room = EVIDENCE_LINES
    left_out = 0
    for item in evidence:
        if room > 0:
            yield folded(f"{item.member}: {item.command} ({wording.lines(item.numbers)})", "italic")
            yield layout.indented(_numbered(item.numbers[:room], item.lines[:room]))
        left_out += max(len(item.lines) - max(room, 0), 0)
        room -= len(item.lines)
    yield from _more(left_out, " in the report")


def _more(number: int, where: str) -> list[RenderableType]:
    return [Text(f"and {wording.number_of(number, 'more line')}{where}", "italic")] if number > 0 else []


def _numbered(numbers: Sequence[int], lines: Sequence[str]) -> Table:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(justify="right", no_wrap=True, style="dim")
    grid.add_column()
    grid.add_column(overflow="fold")
    for number, line in zip(numbers, lines, strict=True):
        grid.add_row(str(number), "|", folded(line))
    return grid


def _fields(value: Any, prefix: str = "") -> Iterable[tuple[str, Any]]:
    for field in dataclasses.fields(value):
        inner = getattr(value, field.name)
        if field.name == "at":
            continue
        if dataclasses.is_dataclass(inner):
            yield from _fields(inner, f"{prefix}{field.name}.")
        else:
            yield f"{prefix}{field.name}", inner


def _is_list(value: Any) -> bool:
    return isinstance(value, Mapping) or (isinstance(value, tuple) and any(map(dataclasses.is_dataclass, value)))


def _list(name: str, value: Any, numbers: tuple[int, ...]) -> RenderableType:
    title = Text.assemble(folded(name, "bold"), f" ({len(value)})")
    if isinstance(value, Mapping):
        if numbers:
            title.append(f", {wording.lines(numbers)}")
        table = layout.table("Name", "Value")
        for key, item in value.items():
            table.add_row(folded(str(key)), _value(item))
        return Group(title, table)
    names = [field.name for field in dataclasses.fields(value[0]) if field.name != "at"]
    table = layout.table(*names, "line")
    for row in value:
        table.add_row(*(_value(getattr(row, name)) for name in names), str(row.at or ""))
    return Group(title, table)


def _value(value: Any) -> Text:
    if value is None:
        return Text("not shown", "dim")
    if isinstance(value, bool):
        return Text("yes" if value else "no")
    if isinstance(value, tuple):
        return Text("\n").join(map(_item, value)) if value else Text("none")
    return folded(str(value))


def _item(value: Any) -> Text:
    if not dataclasses.is_dataclass(value):
        return _value(value)
    return Text(" ").join(_value(inner) for _, inner in _fields(value))


def _read_from(numbers: tuple[int, ...]) -> str:
    return wording.lines(numbers) if numbers else ""


def _paragraph(title: str, lines: Sequence[str]) -> RenderableType:
    return Group(Text(title, "bold"), *(layout.indented(folded(line)) for line in lines))


def _word(word: Status | Verdict) -> Text:
    return layout.styled(word.value)


def meetings(meetings: Sequence[Meeting], path: Path) -> RenderableType:
    """The members' host keys: the fingerprint that each presents, and how it stands to the known keys."""
    return Group(*(_meeting(meeting, path) for meeting in meetings))


def _meeting(meeting: Meeting, path: Path) -> RenderableType:
    if meeting.key is None:
        told = [f"no host key: {meeting.problem}"]
    else:
        told = [f"{meeting.key.type} {meeting.key.fingerprint}", _STANDINGS[str(meeting.standing)].format(path=path)]
    head = folded(f"{meeting.member}, {meeting.address}", "bold")
    return Group(head, *(layout.indented(folded(line)) for line in told))


_STANDINGS = {
    "known": "known",
    "unknown": "new: compare it with what the controller's console says",
    "changed": "NOT the key in {path}: find out why before you remove the old line",
    "revoked": "revoked in {path}",
}
