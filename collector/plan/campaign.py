"""Which pair has which night: as few nights as can be, and what clashes where there are none.

With OR-tools (the extra `plan`) a constraint solver searches and proves; without it, a greedy search finds what it can.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from importlib.util import find_spec

from collector.plan import campaign_greedy
from collector.plan.campaign_work import Constraint, StaffedWindow, Upgrade, Work, work

__all__ = ["Answer", "Campaign", "Constraint", "StaffedWindow", "Upgrade", "plan_campaign", "solver_is_here"]

EFFORT = 10.0


class Answer(StrEnum):
    """How far the answer reaches."""

    PROVEN_BEST = "proven best: no assignment takes fewer nights"
    BEST_FOUND = "only the best found: fewer nights may be possible"
    IMPOSSIBLE = "proven impossible"
    NONE_FOUND = "none found, which doesn't prove that there is none"


@dataclass(frozen=True)
class Campaign:
    """The window of each upgrade by their names; empty where there is none or none was found.

    `nights` is how many are taken; it is proven that fewer than `bound` can't be enough. Of an IMPOSSIBLE campaign
    `clash` has constraints that can't hold together: take any one of them away, and the others can, unless the solver's
    effort was too small to tell. It is empty where there is no window at all.
    """

    answer: Answer
    windows: Mapping[str, str] = field(default_factory=dict)
    nights: int = 0
    bound: int = 0
    clash: tuple[Constraint, ...] = ()


def solver_is_here() -> bool:
    """Whether OR-tools is installed."""
    return find_spec("ortools") is not None


def plan_campaign(
    upgrades: Sequence[Upgrade],
    windows: Sequence[StaffedWindow],
    *,
    use_solver: bool | None = None,
    effort: float = EFFORT,
) -> Campaign:
    """Give each upgrade a window.

    No window has more upgrades than people, no night two of one site or two mobility peers; a window is long enough for
    its upgrades; what an upgrade comes after is done on an earlier night; no pair that isn't blocked comes on a later
    night than one that is. `effort` bounds the solver in its own deterministic seconds, so that the same question has
    the same answer. ValueError where a name comes twice or is unknown, or a window makes no sense.
    """
    asked = work(upgrades, windows)
    if not asked.upgrades:
        return Campaign(Answer.PROVEN_BEST)
    if not asked.staffed:
        return Campaign(Answer.IMPOSSIBLE)
    clash = campaign_greedy.obvious_clash(asked)
    if clash is not None:
        return Campaign(Answer.IMPOSSIBLE, clash=clash)
    bound = campaign_greedy.bound(asked)
    if solver_is_here() if use_solver is None else use_solver:
        return _solved(asked, bound, effort)
    return _searched(asked, bound)


def _searched(asked: Work, bound: int) -> Campaign:
    windows = campaign_greedy.assign(asked)
    return _campaign(asked, windows, bound) if windows is not None else Campaign(Answer.NONE_FOUND, bound=bound)


def _solved(asked: Work, bound: int, effort: float) -> Campaign:
    # Here, since without the extra there is nothing to import.
    from collector.plan import campaign_solver

    found = campaign_solver.solve(asked, bound, effort)
    if found.impossible:
        return Campaign(Answer.IMPOSSIBLE, clash=campaign_solver.clash(asked, effort / 10))
    if found.windows is None:
        return _searched(asked, bound)
    return _campaign(asked, found.windows, found.bound)


def _campaign(asked: Work, windows: Mapping[str, str], bound: int) -> Campaign:
    nights = len({asked.night_of[window] for window in windows.values()})
    answer = Answer.PROVEN_BEST if nights == bound else Answer.BEST_FOUND
    return Campaign(answer, dict(windows), nights, bound)
