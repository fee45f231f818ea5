"""A message of one sweep, in plain text: what changed, pair by pair, and what to do first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from collector.finding import Finding, Verdict
from collector.nights.news import News, Turn
from collector.notify import Message, Tone
from collector.report import wording
from collector.report.visible import visible
from collector.result import MemberResult, Result

# What every chat takes in one piece, with room to spare. Common practice, no source.
LONGEST = 1800
_CLAUSE = 160
_REASONS = 2
_NAMES = 300
# In the order of the subject, by number: one pair, several pairs.
_SUBJECT = {
    Turn.WORSE: ("no longer goes", "no longer go"),
    Turn.FORECAST: ("is forecast not to go in its window", "are forecast not to go in their windows"),
    Turn.FIRST: ("not told of before doesn't go", "not told of before don't go"),
    Turn.OTHERWISE: ("changed otherwise", "changed otherwise"),
    Turn.AGAIN: ("goes again", "go again"),
}


def of_changes(news: Sequence[News], result: Result) -> Message:
    """The message on what is new since somebody was last told."""
    turns = Counter(item.turn for item in news)
    subject = ", ".join(_counted(turn, turns, first=turn is min(turns)) for turn in sorted(turns))
    worse = bool(turns.keys() - {Turn.AGAIN})
    tone = Tone.WORSE if worse else Tone.BETTER if turns else Tone.NEITHER
    return Message(f"readypair: {subject or 'nothing changed'}", _body(news, result), tone)


def of_fleet(news: Sequence[News], result: Result) -> Message:
    """The message on how the fleet stands, whatever was told before; `news` are all pairs that aren't go."""
    number, short = len(result.pairs), len(result.pairs) - wording.number_with(result, Verdict.GO)
    doesnt = "doesn't go" if short == 1 else "don't go"
    all_go = f"all {number} pairs go" if number > 1 else "the only pair goes"
    subject = f"{short} of {wording.number_of(number, 'pair')} {doesnt}" if short else all_go
    tone = Tone.WORSE if short else Tone.BETTER
    return Message(f"readypair: {subject}", _body(news, result), tone)


def _counted(turn: Turn, turns: Counter[Turn], *, first: bool) -> str:
    number = turns[turn]
    counted = wording.number_of(number, "pair") if first else str(number)
    return f"{counted} {_SUBJECT[turn][number > 1]}"


def _body(news: Sequence[News], result: Result) -> str:
    """As many pairs as there is room for, then how many more, then the fleet in a line."""
    closing = "\n".join(_closing(result))
    room = LONGEST - len(closing) - _NAMES - 4
    shown: list[str] = []
    for item in news:
        block = "\n".join(_lines(item))
        if shown and len(block) + 2 > room:
            break
        # The first is told whatever there is room for, however long its names.
        shown.append(block[:room])
        room -= len(block) + 2
    return "\n\n".join([*shown, *_more(news[len(shown) :]), closing])


def _more(left: Sequence[News]) -> list[str]:
    """How many more there are, and who, as far as there is room."""
    names = ", ".join(item.pair.pair.name for item in left)
    return [_short(f"and {wording.number_of(len(left), 'more pair')}: {names}", _NAMES)] if left else []


def _lines(item: News) -> Iterable[str]:
    window = item.pair.pair.window
    when = f"window {wording.moment(window.start)}" if window else "no window"
    was = f"was {item.was}, is {item.pair.verdict}" if item.was not in (None, item.pair.verdict) else item.pair.verdict
    yield f"{_short(item.pair.pair.name)} ({_short(item.pair.pair.site)}): {was}; {when}"
    members = {member.name: member for member in item.pair.members}
    for name in item.silent:
        yield f"  no answer: {_short(f'{name}: {_because(members[name])}')}"
    for name in item.back:
        yield f"  answers again: {_short(name)}"
    yield from _reasons(item.against)
    if item.forecast:
        yield f"  forecast: {_short(item.forecast.statement)}"
    if item.no_longer:
        yield f"  no longer: {_short(', '.join(item.no_longer))}"
    yield from _to_do(item)


def _reasons(against: Sequence[Finding]) -> Iterable[str]:
    for finding in against[:_REASONS]:
        yield f"  {finding.rule} ({finding.counts_as}): {_short(finding.statement)}"
    if len(against) > _REASONS:
        yield f"  and {wording.number_of(len(against) - _REASONS, 'more rule')}"


def _to_do(item: News) -> Iterable[str]:
    steps = wording.steps(item.pair)
    if item.pair.verdict is Verdict.GO:
        if item.forecast and item.forecast.remedy:
            yield f"  to do: {_short(item.forecast.remedy)}"
    elif steps:
        yield f"  to do first ({wording.when_in_short(steps[0])}): {_short(steps[0].remedy)}"
    elif item.pair.steps:
        yield "  to do first: find out why there is no answer"


def _because(member: MemberResult) -> str:
    return member.unreached_because or "not reached"


def _closing(result: Result) -> Iterable[str]:
    yield wording.counts(result)
    if late := [pair.pair.name for pair in result.pairs if not pair.in_time]:
        yield f"{len(late)} not reached in time: {_short(', '.join(late))}"
    yield f"Swept {wording.moment(result.finished)}, {_short(result.inventory)}"


def _short(text: str, longest: int = _CLAUSE) -> str:
    """The text, or as many whole sentences or else words of it as there is room for, its controls spelled out."""
    shown = visible(text)
    if len(shown) <= longest:
        return shown
    cut = shown[: longest - 2]
    sentence, stop, _ = cut.rpartition(". ")
    if len(sentence) > longest // 2:
        return f"{sentence}{stop}…"
    return f"{cut.rpartition(' ')[0] or cut} …"
