"""A campaign as a model for OR-tools' CP-SAT: one worker and deterministic limits, so that answers can be repeated."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from ortools.sat.python import cp_model

from collector.plan.campaign_work import Constraint, Kind, Work

_SEED = 17
_ROUNDING = 1e-6


@dataclass(frozen=True)
class Solved:
    """What the solver found: no `windows` where it is `impossible` or the effort ended before the first."""

    windows: Mapping[str, str] | None
    bound: int
    impossible: bool


def solve(work: Work, least: int, effort: float) -> Solved:
    """The fewest nights that the effort finds, and of those the assignment in which the upgrades come earliest.

    That it takes `least` nights or more is known: the search needn't prove it again.
    """
    model = _Model(work, work.constraints)
    model.fewest_nights(least)
    solver = _solver(effort)
    status = solver.solve(model.model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Solved(None, least, impossible=status == cp_model.INFEASIBLE)
    windows, bound = model.windows(solver), max(least, ceil(solver.best_objective_bound - _ROUNDING))
    model.earliest(round(solver.objective_value))
    second = _solver(effort / 10)
    if second.solve(model.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        windows = model.windows(second)
    return Solved(windows, bound, impossible=False)


def clash(work: Work, effort: float) -> tuple[Constraint, ...]:
    """A part of the constraints that can't hold together, none of which can be left out.

    They are left out in halves, quarters and so on down to single ones; where it can't be decided within the effort
    whether the rest still clashes, they stay in.
    """
    kept = list(work.constraints)
    size = len(kept)
    while size:
        size //= 2
        step = max(size, 1)
        for start in reversed(range(0, len(kept), step)):
            rest = kept[:start] + kept[start + step :]
            if _solver(effort).solve(_Model(work, rest).model) == cp_model.INFEASIBLE:
                kept = rest
    return tuple(kept)


def _solver(effort: float) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = _SEED
    solver.parameters.max_deterministic_time = effort
    # Its own handler would stay behind as the system's default one: the next Ctrl-C would kill the process unheard.
    solver.parameters.catch_sigint_signal = False
    return solver


class _Model:
    def __init__(self, work: Work, constraints: Collection[Constraint]) -> None:
        self._work = work
        self.model = cp_model.CpModel()
        ids = [window.id for window in work.staffed]
        self._in = {(upgrade.name, id): self.model.new_bool_var("") for upgrade in work.upgrades for id in ids}
        self._night = {upgrade.name: self._night_of(upgrade.name) for upgrade in work.upgrades}
        for upgrade in work.upgrades:
            self.model.add_exactly_one(self._in[upgrade.name, id] for id in ids)
        for each in constraints:
            self._hold(each)

    def fewest_nights(self, least: int) -> None:
        """Look for as few nights as can be, which are at least so many."""
        self._taken = [self.model.new_bool_var("") for _ in self._work.nights]
        for (_, id), given in self._in.items():
            self.model.add_implication(given, self._taken[self._work.night_of[id]])
        self.model.add(sum(self._taken) >= least)
        self.model.minimize(sum(self._taken))

    def earliest(self, nights: int) -> None:
        """Look for the earliest assignment that takes at most so many nights."""
        self.model.add(sum(self._taken) <= nights)
        self.model.minimize(sum(self._night.values()))

    def windows(self, solver: cp_model.CpSolver) -> dict[str, str]:
        """The window of each upgrade in what the solver found."""
        return {name: id for (name, id), given in self._in.items() if solver.boolean_value(given)}

    def _night_of(self, name: str) -> cp_model.LinearExpr:
        terms = [self._work.night_of[window.id] * self._in[name, window.id] for window in self._work.staffed]
        return cp_model.LinearExpr.sum(terms)

    def _hold(self, constraint: Constraint) -> None:
        if constraint.kind is Kind.LENGTH:
            self._fits(constraint.upgrades[0])
        elif constraint.kind is Kind.PEOPLE:
            self._people(constraint)
        elif constraint.kind is Kind.ORDER:
            before, after = constraint.upgrades
            self.model.add(self._night[before] + 1 <= self._night[after])
        elif constraint.kind is Kind.BLOCKED_LAST:
            self._last(constraint.upgrades[0])
        else:
            self._apart(constraint.upgrades)

    def _fits(self, name: str) -> None:
        for window in self._work.staffed:
            if window.id not in self._work.fitting[name]:
                self.model.add(self._in[name, window.id] == 0)

    def _people(self, constraint: Constraint) -> None:
        people = next(window.people for window in self._work.staffed if window.id == constraint.window)
        self.model.add(sum(self._in[name, id] for name, id in self._in if id == constraint.window) <= people)

    def _last(self, blocked: str) -> None:
        for upgrade in self._work.upgrades:
            if not upgrade.blocked:
                self.model.add(self._night[upgrade.name] <= self._night[blocked])

    def _apart(self, names: Sequence[str]) -> None:
        for night in range(len(self._work.nights)):
            ids = [window.id for window in self._work.staffed if self._work.night_of[window.id] == night]
            self.model.add_at_most_one(self._in[name, id] for name in names for id in ids)
