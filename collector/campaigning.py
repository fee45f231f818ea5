"""From the plans of many pairs to a campaign: which pair has which of the given windows, and its plan for that one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from math import ceil

from collector.finding import Status
from collector.plan.campaign import Campaign, StaffedWindow, Upgrade, plan_campaign
from collector.plan.campaign_work import Kind
from collector.planned import PairPlan, Standing
from collector.rules import upgrade_path
from inventory.pairs import Pair, Window
from inventory.policy import Policy
from inventory.windows import Night
from parsers.release import Release

_OF_ITS_OWN_WINDOW = ("too-long", "window-passed")
_DONE = "runs-already"


@dataclass(frozen=True)
class Step:
    """One upgrade of a campaign: a pair, and the release or train that it goes to on the way to its target."""

    upgrade: Upgrade
    pair: Pair
    to: str


@dataclass(frozen=True)
class Left:
    """A pair that wasn't given to the campaign, and why, in a sentence."""

    pair: Pair
    why: str


@dataclass(frozen=True)
class NightPlan:
    """A window of the campaign and the steps that it was given, by their pairs' names."""

    night: Night
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class CampaignPlan:
    """The campaign: its answer, the windows in their order with what each was given, and the pairs left out of it."""

    campaign: Campaign
    nights: tuple[NightPlan, ...]
    steps: tuple[Step, ...]
    left: tuple[Left, ...]

    @property
    def complete(self) -> bool:
        """Whether every pair has a window, or needs none."""
        return len(self.campaign.windows) == len(self.steps) and not self.left

    @property
    def clash(self) -> tuple[str, ...]:
        """What can't hold together, in sentences; the people on shift in one where every window is among it."""
        constraints = self.campaign.clash
        windows = sum(len(each.night.shifts) or 1 for each in self.nights)
        if windows < 2 or sum(each.kind is Kind.PEOPLE for each in constraints) < windows:
            return tuple(each.sentence for each in constraints)
        places, upgrades = sum(each.night.people for each in self.nights), len(self.steps)
        told = (
            f"The windows have {places:,} place{'' if places == 1 else 's'} on shift for {upgrades:,} "
            f"upgrade{'' if upgrades == 1 else 's'}."
        )
        return (told, *(each.sentence for each in constraints if each.kind is not Kind.PEOPLE))

    def window_of(self, pair: str) -> Window | None:
        """The window of the pair's last step, the one that brings it to its target; None where it has none."""
        own = [night.night.window for night in self.nights for step in night.steps if step.pair.name == pair]
        return own[-1] if own else None


def campaign_of(plans: Sequence[PairPlan], nights: Sequence[Night], policy: Policy) -> CampaignPlan:
    """Give every pair whose work is known a window, one for each step on its way."""
    steps: list[Step] = []
    left: list[Left] = []
    for found in plans:
        why = _left(found)
        if why is None:
            steps += _steps(found, policy)
        elif why:
            left.append(Left(found.plan.pair, why))
    found_campaign = plan_campaign([step.upgrade for step in steps], _staffed(nights))
    return CampaignPlan(found_campaign, _by_night(found_campaign, nights, steps), tuple(steps), tuple(left))


def in_its_window(pair: Pair, campaign: CampaignPlan) -> Pair:
    """The pair with the window that the campaign gave it, with none where it gave it none."""
    return replace(pair, window=campaign.window_of(pair.name))


def stands(campaign: CampaignPlan, plans: Sequence[PairPlan]) -> bool:
    """Whether every pair has its window, and its plan for that one fits."""
    placed = {step.pair.name for step in campaign.steps}
    return campaign.complete and all(
        found.standing is Standing.FITS for found in plans if found.plan.pair.name in placed
    )


def _left(found: PairPlan) -> str | None:
    """Why a pair isn't given a window; empty where it needs none, None where it is given one."""
    if any(problem.id == _DONE for problem in found.plan.problems):
        return ""
    if _seconds(found) is None:
        return "How long its window takes isn't known: `readypair plan` of the pair says what would be needed."
    return None


def _seconds(found: PairPlan) -> float | None:
    """The 90th percentile of its work in the window; None where a stage has no durations."""
    plan = found.plan
    if plan.times is not None:
        return plan.times.p90_seconds
    in_window = [stage for stage in plan.stages if stage.in_window and not stage.skipped]
    return plan.at_least_seconds if all(stage.estimate is not None for stage in in_window) else None


def _steps(found: PairPlan, policy: Policy) -> list[Step]:
    """The steps of a pair, each an upgrade of its own: the releases on the way come on earlier nights."""
    pair = found.plan.pair
    points = _points(found, policy)
    seconds = _seconds(found)
    assert seconds is not None
    steps: list[Step] = []
    for point in points:
        name = pair.name if len(points) == 1 else f"{pair.name} to {point}"
        upgrade = Upgrade(
            name,
            pair.name,
            pair.site,
            timedelta(minutes=ceil(seconds / 60)),
            peers=frozenset(pair.mobility_peers),
            shift=pair.shift,
            blocked=_blocked(found, on_the_way=len(points) > 1),
            after=(steps[-1].upgrade.name,) if steps else (),
        )
        steps.append(Step(upgrade, pair, point))
    return steps


def _points(found: PairPlan, policy: Policy) -> tuple[str, ...]:
    """Where the pair goes, the last point its target; only the target where no chain of in-service steps is known."""
    target = found.plan.pair.target_release
    first, second = (member.release for member in found.ready.members)
    if first is None or first != second:
        return (target,)
    return upgrade_path.way(policy.upgrade_paths, str(Release.parse(first)), target)[1:] or (target,)


def _blocked(found: PairPlan, *, on_the_way: bool) -> bool:
    """Whether something blocks the pair whatever its window; a chain of steps mends the lack of a direct one."""
    own = {problem.id for problem in found.plan.problems if problem.status is Status.BLOCK} - set(_OF_ITS_OWN_WINDOW)
    rules = {finding.rule for finding in found.ready.findings if finding.counts_as is Status.BLOCK}
    return bool(own or rules - ({"upgrade-path"} if on_the_way else set()))


def _staffed(nights: Sequence[Night]) -> list[StaffedWindow]:
    """The windows, one for each shift where the people of a night belong to shifts."""
    found = []
    for night in nights:
        start, end = night.window.start, night.window.end
        shifts: list[tuple[str | None, int]] = [*night.shifts.items()] or [(None, night.people)]
        found += [StaffedWindow(_id(night, shift), start, end, people, shift) for shift, people in shifts]
    return found


def _id(night: Night, shift: str | None) -> str:
    return night.name if shift is None else f"{night.name}, shift {shift}"


def _by_night(campaign: Campaign, nights: Sequence[Night], steps: Sequence[Step]) -> tuple[NightPlan, ...]:
    found = []
    for night in nights:
        ids = {_id(night, shift) for shift in (None, *night.shifts)}
        own = [step for step in steps if campaign.windows.get(step.upgrade.name) in ids]
        found.append(NightPlan(night, tuple(sorted(own, key=lambda step: step.upgrade.name))))
    return tuple(found)
