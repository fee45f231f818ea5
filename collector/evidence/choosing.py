"""Which of a pair's stored judgements are the two sides of its window, and which watch followed it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from collector.nights.night import Source
from collector.store.store import StoredJudgement, StoredWatch
from inventory.pairs import Pair

_A_DAY = timedelta(hours=24)
Given = date | int | None
"""A judgement as somebody names it: by its night, or by its number."""


class EvidenceError(ValueError):
    """There is no such evidence; the message is one sentence that says what to do."""


@dataclass(frozen=True)
class Chosen:
    """The two sides of a window, and its watch; None where the store holds none."""

    before: StoredJudgement | None
    after: StoredJudgement | None
    watch: StoredWatch | None


def choose(
    pair: Pair,
    judgements: Sequence[StoredJudgement],
    watches: Sequence[StoredWatch],
    before: Given = None,
    after: Given = None,
) -> Chosen:
    """The sides as given, else those of the latest window; `judgements` in their order, `watches` the newest first.

    Before: the latest baseline from before the window, or before its watch; without one the latest judgement of any
    other command. After: the latest comparison; without one the first judgement after the window. EvidenceError where
    a side that is given isn't there, or there is nothing at all.
    """
    usable = [each for each in judgements if each.in_time and each.kept]
    first = _given(before, judgements, usable, pair, "--before") if before is not None else None
    last = _given(after, judgements, usable, pair, "--after") if after is not None else None
    if first is not None and last is not None and asked(first) >= asked(last):
        raise EvidenceError("the side before is later than the side after; turn --before and --after round")
    watch = next((each for each in watches if _within(each, first, last)), None)
    if first is None:
        first = _before([each for each in usable if last is None or asked(each) < asked(last)], pair, watch)
    if last is None:
        last = _after([each for each in usable if first is None or asked(each) > asked(first)], pair, watch)
    if first is None and last is None and watch is None:
        raise EvidenceError(
            f"the store holds nothing of {pair.name} to hand in; before a window take a baseline with: "
            f"readypair baseline {pair.name}"
        )
    return Chosen(first, last, watch)


def asked(each: StoredJudgement) -> datetime:
    """When a judgement's captures were taken, or when it was judged where they are undated."""
    return each.asked or each.judged


def _given(
    given: date | int,
    judgements: Sequence[StoredJudgement],
    usable: Sequence[StoredJudgement],
    pair: Pair,
    option: str,
) -> StoredJudgement:
    by: Callable[[StoredJudgement], bool]
    if isinstance(given, int):
        by, what = (lambda each: each.number == given), f"judgement {given}"
    else:
        by, what = (lambda each: each.night == given), f"night {given}"
    found = [each for each in usable if by(each)]
    if found:
        return found[-1]
    if any(by(each) and each.in_time for each in judgements):
        raise EvidenceError(f"{option}: the captures of the {what} were taken out of the store, as --keep-days says")
    raise EvidenceError(f"{option}: the store holds no {what} of {pair.name} on which it was asked{_known(usable)}")


def _known(usable: Sequence[StoredJudgement]) -> str:
    latest = [f"{each.number} ({each.source.value}, night {each.night})" for each in usable[-5:]]
    return f"; the latest are {', '.join(reversed(latest))}" if latest else "; it holds none of that pair"


def _within(watch: StoredWatch, before: StoredJudgement | None, after: StoredJudgement | None) -> bool:
    ended = watch.latest or watch.start.started
    return (before is None or ended >= asked(before)) and (after is None or watch.start.started <= asked(after))


def _before(usable: Sequence[StoredJudgement], pair: Pair, watch: StoredWatch | None) -> StoredJudgement | None:
    limit = _begin(usable, pair, watch)
    early = [each for each in usable if limit is None or asked(each) < limit]
    baselines = [each for each in early if each.source is Source.BASELINE]
    # What a comparison asked is the pair after some window.
    others = [each for each in early if each.source is not Source.COMPARE]
    found = baselines or others
    return found[-1] if found else None


def _begin(usable: Sequence[StoredJudgement], pair: Pair, watch: StoredWatch | None) -> datetime | None:
    """When the window began; None where nothing tells that any has."""
    start = pair.window.start if pair.window is not None else None
    if watch is not None:
        began = watch.start.started
        # A watch may be begun in the evening, and the baseline taken after it.
        return start if start is not None and began <= start <= began + _A_DAY else began
    return start if start is not None and any(asked(each) >= start for each in usable) else None


def _after(later: Sequence[StoredJudgement], pair: Pair, watch: StoredWatch | None) -> StoredJudgement | None:
    if watch is not None:
        later = [each for each in later if asked(each) > watch.start.started]
    compared = [each for each in later if each.source is Source.COMPARE]
    if compared:
        return compared[-1]
    if watch is not None:
        end = watch.latest or watch.start.started
    elif pair.window is not None:
        end = pair.window.end
    else:
        return None
    return next((each for each in later if each.source is not Source.BASELINE and asked(each) > end), None)
