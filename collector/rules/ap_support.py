"""ap-support: does the target release support each access point model?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from collector.finding import Answer, Evidence, Status
from collector.rules.ap_tables import NO_ACCESS_POINTS, ROLES, TABLES, capped, counted, lost, named, rows, tellers
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import lack, unknown
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.policy import AccessPointModel, Policy
from parsers.facts.access_points import AccessPoint, ApSummary
from parsers.release import Release

_SUMMARY = "show ap summary"
_QUESTION = "whether the target release supports all access points"
_REMEDY = (
    "Choose a target that supports these models by the vendor's published compatibility tables, or have the access "
    "points replaced first. One that the new release doesn't support stays off the air after the upgrade: settle it "
    "with the site and, where lives depend on the network, with the people who run the ward, before any window."
)
_FILL = (
    "Add these models to `access_points` in the policy, with their first and last release as the vendor's "
    "compatibility tables give them, and decide again."
)
# Rows shown of one model: enough to recognise it by.
_OF_A_MODEL = 3


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The models in the active one's table.

    Not applicable only where the policy has no such table at all: then the site hasn't asked the question, which no
    loss of a capture can bring about. With a table, even an empty one, each model that it lacks is unknown.
    """
    if "access_points" not in policy.model_fields_set:
        return Answer(Status.NOT_APPLICABLE, "The policy has no table of access point models.")
    heard, parts = tellers(snapshot, _QUESTION)
    for member in heard:
        parts += _told(snapshot, member, policy)
    return answer(parts)


def _told(snapshot: Snapshot, member: MemberSnapshot, policy: Policy) -> Iterator[Part]:
    summary = member.read(_SUMMARY, ApSummary)
    if summary.facts is None:
        yield unknown(f"{lack(member, summary)}, so {_QUESTION} isn't known")
        return
    if reason := lost(member, summary, "access points"):
        yield unknown(reason, rows(summary, (), "count"))
    aps = summary.facts.aps
    models = {ap.model for ap in aps}
    clause = f"{snapshot.pair.target_release} supports {_amount(len(models))} of {counted(len(aps))} on {member.name}"
    if not aps:
        clause = f"{member.name} knows of {NO_ACCESS_POINTS}"
    yield Part(Status.PASS, clause, (*rows(summary, (), "count"), *_examples(summary, aps)))
    yield from _models(snapshot, member, summary, policy)


def _models(snapshot: Snapshot, member: MemberSnapshot, summary: Reading[ApSummary], policy: Policy) -> Iterator[Part]:
    target = Release.parse(snapshot.pair.target_release)
    by_model: dict[str | None, list[AccessPoint]] = {}
    for ap in summary.facts.aps if summary.facts is not None else ():
        by_model.setdefault(ap.model, []).append(ap)
    for model, aps in by_model.items():
        evidence = _examples(summary, aps)
        if model is None:
            clause = f"{counted(len(aps))} without a model on {member.name}: {named([ap.name for ap in aps])}"
            yield unknown(clause, evidence)
        elif model not in policy.access_points:
            clause = f"the policy doesn't list {model}: {_places(aps, snapshot.pair.site)}"
            yield Part(Status.UNKNOWN, clause, evidence, _FILL)
        elif _says_nothing(policy.access_points[model]):
            clause = f"the policy doesn't say which releases support {model}: {_places(aps, snapshot.pair.site)}"
            yield Part(Status.UNKNOWN, clause, evidence, _FILL)
        elif limit := _beyond(target, policy.access_points[model]):
            clause = f"{target} doesn't support {model} ({limit}): {_places(aps, snapshot.pair.site)}"
            yield Part(Status.BLOCK, clause, evidence, _REMEDY)


def _says_nothing(model: AccessPointModel) -> bool:
    """Whether a row states sizes only: it is there for the plan, and nobody has said yet what supports the model."""
    return bool(model.model_fields_set) and model.first_release is None and model.last_release is None


def _beyond(target: Release, model: AccessPointModel) -> str:
    """Which of its two limits the target is beyond; empty where it is beyond none."""
    if model.first_release is not None and target < Release.parse(model.first_release):
        return f"supported from {model.first_release}"
    if model.last_release is not None and target > Release.parse(model.last_release):
        return f"supported up to {model.last_release}"
    return ""


def _places(aps: Sequence[AccessPoint], site: str) -> str:
    """How many, and how many at each site: an access point's own location where it has one."""
    places = Counter(ap.location or site for ap in aps)
    at = named([f"{number:,} at {place}" for place, number in places.most_common()])
    return f"{counted(len(aps))}, {at}"


def _examples(summary: Reading[ApSummary], aps: Sequence[AccessPoint]) -> tuple[Evidence, ...]:
    seen: Counter[str | None] = Counter()
    lines = []
    for ap in aps:
        seen[ap.model] += 1
        if seen[ap.model] <= _OF_A_MODEL:
            lines.append(ap.at)
    return capped(rows(summary, lines))


def _amount(models: int) -> str:
    return "the one model" if models == 1 else f"all {models} models"


RULE = Rule(
    id="ap-support",
    title="Does the target release support each access point model?",
    why="An access point that the new release doesn't know never joins again, and its room stays without a network.",
    good="quay-hall-01  2  WX-AP20  0200.5e10.0001  0200.5e80.0010  NL  -E  203.0.113.1  Registered  Hall",
    bad="quay-hall-02  2  WX-AP11  0200.5e10.0002  0200.5e80.0020  NL  -E  203.0.113.2  Registered  Hall",
    needs=(*TABLES, *ROLES),
    judge=judge,
)
