"""What the reports say in the same words and the same order, whichever of them says it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from collector.finding import Finding, Status, Verdict
from collector.result import MemberResult, PairResult, Result
from inventory.pairs import Image, Window

STATUSES = (Status.BLOCK, Status.UNKNOWN, Status.CAUTION, Status.PASS, Status.NOT_APPLICABLE)
VERDICTS = (Verdict.NO_GO, Verdict.UNDECIDED, Verdict.GO)


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """The findings in the order in which somebody at two in the morning wants to read them."""
    return sorted(findings, key=lambda finding: (STATUSES.index(finding.status), not decides(finding)))


def decides(finding: Finding) -> bool:
    """Whether the finding keeps its pair from being go, by the sentence of `collector.verdict.verdict`."""
    return finding.status is Status.BLOCK or (finding.status is Status.UNKNOWN and finding.weight == "block")


def with_status(pair: PairResult, status: Status) -> list[str]:
    """The ids of the pair's rules whose finding has this status, in the catalogue's order."""
    return [finding.rule for finding in pair.findings if finding.status is status]


def number_with(result: Result, verdict: Verdict) -> int:
    """How many pairs have this verdict."""
    return sum(pair.verdict is verdict for pair in result.pairs)


def counts(result: Result) -> str:
    """The closing line, such as `16 pairs: 3 go, 11 no-go, 2 undecided`."""
    parts = (f"{number_with(result, verdict)} {verdict}" for verdict in (Verdict.GO, Verdict.NO_GO, Verdict.UNDECIDED))
    return f"{number_of(len(result.pairs), 'pair')}: {', '.join(parts)}"


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
    return f"not reached; its partner tells: {', '.join(told)}" if told else "not reached"


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
