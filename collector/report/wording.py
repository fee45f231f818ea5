"""What the reports say in the same words and the same order, whichever of them says it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

from collector.finding import Finding, Status, Verdict
from collector.ordering import Step
from collector.result import MemberResult, PairResult, Result
from inventory.explaining import Setting
from inventory.pairs import Image, Window

STATUSES = (Status.BLOCK, Status.UNKNOWN, Status.CAUTION, Status.PASS, Status.NOT_APPLICABLE)
VERDICTS = (Verdict.NO_GO, Verdict.UNDECIDED, Verdict.GO)


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """The findings in the order in which somebody at two in the morning wants to read them."""
    return sorted(findings, key=_rank)


def _rank(finding: Finding) -> tuple[int, bool, bool]:
    # A waived block comes after what isn't known: that keeps the pair from being go.
    status = Status.UNKNOWN if finding.waiver else finding.status
    return (STATUSES.index(status), not finding.decides, finding.waiver is not None)


def with_status(pair: PairResult, status: Status) -> list[str]:
    """The ids of the pair's rules whose finding has this status, in the catalogue's order.

    A waived block has the status that it counts as: unknown where it hides one, else none.
    """
    found = ((each.rule, each.counts_as if each.waiver else each.status) for each in pair.findings)
    return [rule for rule, counted in found if counted is status]


def waived_rules(pair: PairResult) -> list[str]:
    """The ids of the pair's rules whose block somebody waives, in the catalogue's order."""
    return [finding.rule for finding in pair.findings if finding.waiver]


def waived(finding: Finding) -> str:
    """Who waives a block, until when and why; empty where nobody does."""
    waiver = finding.waiver
    return f"Waived by {waiver.who} until {until(waiver.until)}: {waiver.why}" if waiver else ""


def until(end: date) -> str:
    """The end of a waiver: a date as it is, a time to the minute."""
    return moment(end) if isinstance(end, datetime) else end.isoformat()


def when(step: Step) -> str:
    """When a step may be taken, and what it may do to the site."""
    return f"{step.when.value}; may reload a controller or drop clients" if step.disruptive else step.when.value


def when_in_short(step: Step) -> str:
    """The same in fewer words."""
    return f"{step.when.value}; may reload or drop clients" if step.disruptive else step.when.value


def weights(pairs: Iterable[PairResult]) -> str:
    """The rules that the site's policy weighs otherwise than by default; empty where there are none."""
    rules = {finding.rule: finding.weighed for pair in pairs for finding in pair.findings if finding.weighed}
    return ", ".join(f"{rule} as {weight}" if weight != "off" else f"{rule} off" for rule, weight in rules.items())


def setting(setting: Setting) -> str:
    """A value of the policy as a person writes it."""
    value = setting.value
    if isinstance(value, Mapping):
        step = "direct" if value["direct"] else "not direct"
        return f"{value['from']} to {value['to']}: {step}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return "none" if value is None else str(value)


def source(setting: Setting, file: Path) -> str:
    """Where a value of the policy comes from: `policy.yaml:12` or `built-in default`."""
    return f"{file.name}:{setting.line}" if setting.line else "built-in default"


def number_with(result: Result, verdict: Verdict) -> int:
    """How many pairs have this verdict."""
    return sum(pair.verdict is verdict for pair in result.pairs)


def counts(result: Result) -> str:
    """The closing line, such as `16 pairs: 3 go, 11 no-go, 2 undecided`."""
    parts = (f"{number_with(result, verdict)} {verdict}" for verdict in (Verdict.GO, Verdict.NO_GO, Verdict.UNDECIDED))
    return f"{number_of(len(result.pairs), 'pair')}: {', '.join(parts)}"


def not_in_time(result: Result) -> str:
    """How many pairs the sweep's deadline or an interruption came before; empty where it reached all."""
    late = sum(not pair.in_time for pair in result.pairs)
    return f"{late} of {number_of(len(result.pairs), 'pair')} not reached in time" if late else ""


def too_late(pair: PairResult) -> str:
    """What came before a pair that wasn't reached in time, in a sentence."""
    because = pair.members[0].unreached_because or "it was not reached in time"
    return f"{because[0].upper()}{because[1:]}."


def number_of(number: int, noun: str) -> str:
    """A number with its noun in the singular or the plural."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def moment(time: datetime) -> str:
    """A time to the minute with its offset from UTC: `2027-02-06 23:00+01:00`."""
    return _with_offset(time).isoformat(sep=" ", timespec="minutes")


def iso(time: datetime) -> str:
    """A time as ISO 8601 with its offset from UTC."""
    return _with_offset(time).isoformat()


def _with_offset(time: datetime) -> datetime:
    """The time itself; one that doesn't know its offset is taken as local time."""
    return time if time.tzinfo is not None else time.astimezone()


def duration(result: Result) -> str:
    """How long the asking took, in full seconds, or in minutes from two minutes on."""
    seconds = round((result.finished - result.started).total_seconds())
    return number_of(seconds, "second") if seconds < 120 else number_of(round(seconds / 60), "minute")


def window(window: Window) -> str:
    """A window's start, end and length."""
    return f"{moment(window.start)} to {moment(window.end)} ({number_of(window.minutes, 'minute')})"


def image(image: Image) -> str:
    """An image's file and size."""
    return f"{image.file}, {image.bytes:,} bytes"


def member(member: MemberResult) -> str:
    """What is known of a member besides its name; of one that wasn't reached, what its partner tells."""
    role = member.role or "role unknown"
    release = f"release {member.release}" if member.release else "release unknown"
    if member.reached:
        return f"{role}, {release}"
    told = [role] * bool(member.role) + [release] * bool(member.release)
    why = f"not reached: {member.unreached_because}" if member.unreached_because else "not reached"
    return f"{why}; its partner tells: {', '.join(told)}" if told else why


def unreached(pair: PairResult) -> list[MemberResult]:
    """The members that gave no answer."""
    return [member for member in pair.members if not member.reached]


def left_unknown(pair: PairResult) -> str:
    """The rules that only a member's silence leaves unknown, and whose; empty without any."""
    names = " and ".join(member.name for member in unreached(pair))
    return f"Not known without an answer of {names}: {', '.join(pair.left_unknown)}" if pair.left_unknown else ""


def told(pair: PairResult) -> list[Finding]:
    """The findings, the worst first, without those of which `left_unknown` has said all that there is to say."""
    return [finding for finding in worst_first(pair.findings) if finding.rule not in pair.left_unknown]


def steps(pair: PairResult) -> list[Step]:
    """The steps, without those that come to reaching a member."""
    return [step for step in pair.steps if step.rule not in pair.left_unknown]


def weighed(finding: Finding) -> str:
    """A note where the site's policy weighs the rule otherwise; empty where it doesn't."""
    return f"The site's policy weighs this rule as: {finding.weighed}." if finding.weighed else ""


def lines(numbers: Sequence[int]) -> str:
    """Line numbers as a person writes them: `line 4`, `lines 4-6, 9`."""
    spans: list[list[int]] = []
    for number in sorted(set(numbers)):
        if spans and number == spans[-1][-1] + 1:
            spans[-1][1:] = [number]
        else:
            spans.append([number])
    text = ", ".join("-".join(map(str, span)) for span in spans)
    return f"line {text}" if len(set(numbers)) == 1 else f"lines {text}"
