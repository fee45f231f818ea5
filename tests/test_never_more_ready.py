"""No loss of input makes a pair look more ready than it is: for every rule, over every pair of the demo.

What a rule says of trouble (block or caution) never becomes a pass or not-applicable, a block never becomes a caution,
and a pair that is no-go or undecided never becomes go, whatever single capture is removed, cut off, undated, cut at a
line or garbled; nor where a policy weighs every rule as a block, nor where somebody has waived every block that may be
waived. Removal is tried exhaustively, and so are the cuts of all answers but the tables of access points: of the lines
in the middle of those only every seventh, since their rows are alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector import rules
from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Answer, Finding, Status, Verdict
from collector.nights.past import Past, Point
from collector.rules.flash_space import rooms
from collector.rules.rule import Rule
from collector.snapshot import MemberSnapshot, Reading, Snapshot, member_snapshot
from collector.verdict import verdict, weigh
from collector.waiving import waive
from inventory.waivers import Waiver
from parsers import Facts
from tests.demo_fleet import fleet, pairs, snapshot, taken, with_capture
from tests.fleet.demo import DEMO
from tests.fleet.description import PairDescription
from tests.fleet.making import healthy_pair
from tests.fleet.writing import captures

# What a bad line or a terminal's escapes leave behind: nothing that could be a word or a number by itself.
_NOISE = "~{}|\\^`¤\x07\x1b\ufffd\u00a0?@"
# Who is active matters to every rule that hears one member about the other.
_ROLES = frozenset({"show redundancy", "show chassis rmi"})
_WEIGHED = _ROLES.union(*(rule.needs for rule in rules.CATALOGUE))
_BY_ID = {rule.id: rule for rule in rules.CATALOGUE}
# These read no answer but when every capture was taken.
_READS_MANIFESTS = frozenset({"evidence-age"})
# What the demo's fleet has none of: earlier nights. There is a test of its own for it.
_READS_THE_PAST = frozenset({"outlook"})
_LONG_TABLES = frozenset({"show ap summary", "show ap image", "show wireless stats ap join summary"})
_EVERY = 7
_WAIVERS = tuple(
    Waiver("*", rule.id, "somebody", "to try what waivers may hide", EVENING.date() + timedelta(days=99))
    for rule in rules.CATALOGUE
    if rule.waivable
)
_BETTER_THAN = {
    Status.BLOCK: {Status.PASS, Status.NOT_APPLICABLE, Status.CAUTION},
    Status.CAUTION: {Status.PASS, Status.NOT_APPLICABLE},
}


@dataclass(frozen=True)
class _Judged:
    """What the rules themselves say of a pair, before anybody weighs or waives it."""

    described: Snapshot
    answers: Mapping[str, Answer]

    def status(self, rule: str) -> Status:
        return self.answers[rule].status

    def with_status(self, status: Status) -> set[str]:
        return {rule for rule, answer in self.answers.items() if answer.status is status}

    def verdicts(self) -> dict[str, Verdict]:
        """By the demo's policy, by one that weighs every rule as a block, and with every waiver that there may be."""
        policy = fleet().policy
        strict = policy.model_copy(update={"rules": dict.fromkeys(_BY_ID, "block")})
        weighed = [weigh(_BY_ID[rule], answer, policy) for rule, answer in self.answers.items()]
        return {
            "by the demo's policy": verdict(weighed),
            "where all rules block": verdict([weigh(_BY_ID[id], said, strict) for id, said in self.answers.items()]),
            "where all blocks are waived": verdict([self._waived(each) for each in weighed]),
        }

    def _waived(self, finding: Finding) -> Finding:
        return waive(_BY_ID[finding.rule], finding, self.described.pair, _WAIVERS, EVENING)


def _judged(described: Snapshot) -> _Judged:
    return _Judged(described, {rule.id: rule.judge(described, fleet().policy) for rule in rules.CATALOGUE})


def _judged_again(before: _Judged, damaged: Snapshot, command: str) -> _Judged:
    """Only by the rules that look at the command; that no rule looks at another is tried below."""
    answers = {
        rule.id: rule.judge(damaged, fleet().policy) if _looks_at(rule, command) else before.answers[rule.id]
        for rule in rules.CATALOGUE
    }
    return _Judged(damaged, answers)


def _looks_at(rule: Rule, command: str) -> bool:
    return command in _ROLES or command in rule.needs or rule.id in _READS_MANIFESTS


@cache
def _before(pair: str) -> _Judged:
    return _judged(snapshot(pair))


def _problems(before: _Judged, after: _Judged) -> list[str]:
    """What the damage made look better; nothing where all is well."""
    found = [
        f"{rule} was {said.status} and is {after.status(rule)}: {after.answers[rule].statement}"
        for rule, said in before.answers.items()
        if after.status(rule) in _BETTER_THAN.get(said.status, ())
    ]
    verdicts = after.verdicts()
    for where, said in before.verdicts().items():
        if said is not Verdict.GO and verdicts[where] is Verdict.GO:
            found.append(f"the pair was {said} {where} and is go")
    return found


def _damaged_by_loss(capture: Capture) -> Iterator[tuple[str, Capture]]:
    yield "removed", Capture(capture.member, capture.command, ending=Ending.MISSING, reason="removed")
    yield "marked cut off", replace(capture, ending=Ending.CUT_OFF, reason="the session was lost")
    yield "undated", _undated(capture, capture.text)
    lines = capture.text.splitlines(keepends=True)
    for kept in _cuts(capture.command, len(lines)):
        yield f"cut after line {kept}", _undated(capture, "".join(lines[:kept]))


def _cuts(command: str, lines: int) -> list[int]:
    """How many lines are kept, each way in turn."""
    if command not in _LONG_TABLES:
        return list(range(lines))
    return sorted({*range(0, lines, _EVERY), *range(min(20, lines)), *range(max(lines - 3, 0), lines)})


def _undated(capture: Capture, text: str) -> Capture:
    """Of a text that changed, no manifest tells when it was taken and that it is whole."""
    return replace(capture, text=text, started=None, seconds=None)


def _captures(described: Snapshot) -> list[Capture]:
    return [
        capture
        for member in described.members
        for command, capture in member.captures.items()
        if command in _WEIGHED and capture.ending is Ending.COMPLETE
    ]


def test_there_is_trouble_to_lose() -> None:
    """Without blocks and undecided pairs in the demo the property would hold by itself."""
    blocked = {rule for pair in pairs() for rule in _before(pair).with_status(Status.BLOCK)}
    # Of old captures there is a test of its own: what the demo's controllers answer is always new.
    assert blocked == {rule.id for rule in rules.CATALOGUE} - _READS_MANIFESTS - _READS_THE_PAST
    assert {_before(pair).verdicts()["by the demo's policy"] for pair in pairs()} == set(Verdict)


@pytest.mark.parametrize("pair", pairs())
def test_losing_any_of_one_capture_makes_nothing_better(pair: str) -> None:
    before = _before(pair)
    assert [problem for capture in _captures(before.described) for problem in _lost(before, capture)] == []


def _lost(before: _Judged, capture: Capture) -> Iterator[str]:
    seen: set[str] = set()
    for damage, lost in _damaged_by_loss(capture):
        damaged = with_capture(before.described, lost)
        reading = next(each for each in damaged.members if each.name == capture.member).readings[capture.command]
        # What reads alike is judged alike; the lines themselves are shown, and only whether there are any is asked.
        alike = f"{replace(reading, printed=reading.printed[:1])!r} {reading.facts.at if reading.facts else ''}"
        alike += f" {lost.started}"
        if alike in seen:
            continue
        seen.add(alike)
        for problem in _problems(before, _judged_again(before, damaged, capture.command)):
            yield f"{capture.member}, {capture.command}, {damage}: {problem}"


# What `show redundancy` or the active one's `show boot` tells of the other member beside its own answer is heard, but
# not missed, by boot-variable and release-support: a lost peer and some trains print less there. So a contradiction
# between the members on these two is not held here; a member's own answer is, above.
_HEARD_BUT_NOT_MISSED = ("capstan", "bollard")


@pytest.mark.parametrize(
    "pair", [pair for pair in DEMO if pair.name not in _HEARD_BUT_NOT_MISSED], ids=lambda pair: str(pair.name)
)
def test_losing_any_of_the_one_capture_that_tells_of_trouble_makes_nothing_better(pair: PairDescription) -> None:
    """Every capture of the demo alone among a healthy twin's, so that no other capture tells of the trouble too."""
    healthy = _twin(pair)
    problems = []
    for capture in _captures(snapshot(pair.name)):
        before = _judged(with_capture(healthy, capture))
        if before.with_status(Status.BLOCK) | before.with_status(Status.CAUTION):
            problems += list(_lost(before, capture))
    assert problems == []


def _twin(pair: PairDescription) -> Snapshot:
    """A pair of the same name, plan, models, release and access points that nothing is the matter with."""
    made = healthy_pair(
        pair.name,
        pair.site,
        0,
        active=pair.active,
        zone=pair.zone,
        # An empty history and one that was cut after its head read alike; the count of switchovers tells them apart.
        switchovers=pair.switchovers,
        target_release=pair.target_release,
        image_file=pair.image_file,
        image_bytes=pair.image_bytes,
        access_points=tuple(replace(ap, staging="Complete", failure=None) for ap in pair.access_points),
    )
    members = tuple(
        replace(own, model=pair.members[0].model, release=pair.members[0].release, build=pair.members[0].build)
        for own in made.members
    )
    made = replace(made, members=(members[0], members[1]))
    first, second = (
        member_snapshot(
            member.name,
            [taken(Capture(member.name, command, text)) for command, text in captures(made, member).items()],
        )
        for member in made.members
    )
    return Snapshot(snapshot(pair.name).pair, (first, second), EVENING)


@pytest.mark.parametrize("days", [0, 3], ids=["one member's", "both members'"])
def test_losing_any_of_old_captures_makes_nothing_better(days: int) -> None:
    """Three days old on one member or on both: too far apart, or too old."""
    described = snapshot("quay")
    for number, member in enumerate(described.members):
        for capture in member.captures.values():
            age = timedelta(days=days if number else 3)
            described = with_capture(described, replace(capture, started=EVENING - age))
    before = _judged(described)
    assert before.with_status(Status.BLOCK) >= _READS_MANIFESTS
    assert [problem for capture in _captures(described) for problem in _lost(before, capture)] == []


def _falling(pair: str, a_night: int) -> Snapshot:
    """The pair with thirty nights before this one, each with so many bytes more on either member's flash."""
    described = snapshot(pair)
    flash = {
        room.member: tuple(
            Point(EVENING - timedelta(days=days), room.free + days * a_night, room.needed) for days in range(30, 0, -1)
        )
        for room in rooms(described, fleet().policy)
        if room.free is not None
    }
    return replace(described, past=Past(flash))


@pytest.mark.parametrize(("a_night", "status"), [(2 * 10**10, Status.BLOCK), (3 * 10**6, Status.PASS)])
@pytest.mark.parametrize("pair", ["quay", "lantern"])
def test_losing_any_of_what_a_forecast_starts_from_makes_nothing_better(
    pair: str, a_night: int, status: Status
) -> None:
    """Of lantern's standby its partner tells."""
    before = _judged(_falling(pair, a_night))
    assert before.status("outlook") is status
    assert [problem for capture in _captures(before.described) for problem in _lost(before, capture)] == []
    for member in before.described.members:
        damaged = before.described
        for command in member.captures:
            damaged = with_capture(damaged, Capture(member.name, command, ending=Ending.MISSING, reason="no session"))
        assert _problems(before, _judged(damaged)) == [], member.name


@pytest.mark.parametrize("pair", pairs())
@pytest.mark.parametrize("a_night", [2 * 10**10, 3 * 10**6, 0, -3 * 10**6])
def test_no_past_makes_a_pair_readier(pair: str, a_night: int) -> None:
    assert _problems(_before(pair), _judged(_falling(pair, a_night))) == []


@pytest.mark.parametrize("pair", pairs())
def test_losing_a_whole_member_makes_nothing_better(pair: str) -> None:
    described = snapshot(pair)
    for member in described.members:
        damaged = described
        for command in member.captures:
            damaged = with_capture(damaged, Capture(member.name, command, ending=Ending.MISSING, reason="no session"))
        assert _problems(_before(pair), _judged(damaged)) == [], member.name


@st.composite
def _garbled(draw: st.DrawFn, pair: str) -> Capture:
    capture = draw(st.sampled_from(_captures(snapshot(pair))))
    lines = capture.text.split("\n")
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.integers(0, len(lines) - 1))
        lines = draw(st.sampled_from((_noise, _blot, _drop, _double, _swap)))(draw, lines, place)
    return _undated(capture, "\n".join(lines))


def _noise(draw: st.DrawFn, lines: list[str], place: int) -> list[str]:
    """Noise in the place of some characters of a line, or between two."""
    line = lines[place]
    start = draw(st.integers(0, len(line)))
    end = draw(st.integers(start, min(len(line), start + 12)))
    noise = draw(st.text(_NOISE, min_size=1, max_size=6))
    return [*lines[:place], line[:start] + noise + line[end:], *lines[place + 1 :]]


def _blot(draw: st.DrawFn, lines: list[str], place: int) -> list[str]:
    """A whole line of noise in the place of a line."""
    return [*lines[:place], draw(st.text(_NOISE, min_size=1, max_size=20)), *lines[place + 1 :]]


def _drop(draw: st.DrawFn, lines: list[str], place: int) -> list[str]:
    return lines[:place] + lines[place + 1 :] or [""]


def _double(draw: st.DrawFn, lines: list[str], place: int) -> list[str]:
    return [*lines[: place + 1], *lines[place:]]


def _swap(draw: st.DrawFn, lines: list[str], place: int) -> list[str]:
    other = draw(st.integers(0, len(lines) - 1))
    swapped = list(lines)
    swapped[place], swapped[other] = swapped[other], swapped[place]
    return swapped


def _troubled(pair: str) -> bool:
    return bool(_before(pair).with_status(Status.BLOCK) | _before(pair).with_status(Status.CAUTION))


@pytest.mark.parametrize("pair", [pair for pair in pairs() if _troubled(pair)])
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_garbling_one_capture_makes_nothing_better(pair: str, data: st.DataObject) -> None:
    garbled = data.draw(_garbled(pair))
    before = _before(pair)
    after = _judged_again(before, with_capture(before.described, garbled), garbled.command)
    assert _problems(before, after) == []


class _Watched(Mapping[str, Reading[Facts]]):
    """A member's readings that remember which of them were asked for."""

    def __init__(self, readings: Mapping[str, Reading[Facts]], asked: set[str]) -> None:
        self._readings, self._asked = readings, asked

    def __getitem__(self, command: str) -> Reading[Facts]:
        self._asked.add(command)
        return self._readings[command]

    def __iter__(self) -> Iterator[str]:
        self._asked.update(self._readings)
        return iter(self._readings)

    def __len__(self) -> int:
        return len(self._readings)


@pytest.mark.parametrize("rule", rules.CATALOGUE, ids=lambda rule: str(rule.id))
def test_a_rule_reads_only_the_commands_that_it_names(rule: Rule) -> None:
    """So that a capture no rule names can be left out above, and that the catalogue of rules tells the truth."""
    asked: set[str] = set()
    for pair in pairs():
        described = snapshot(pair)
        first, second = (
            MemberSnapshot(member.name, member.captures, _Watched(member.readings, asked))
            for member in described.members
        )
        rule.judge(Snapshot(described.pair, (first, second), EVENING), fleet().policy)
    assert asked <= _ROLES.union(rule.needs)
