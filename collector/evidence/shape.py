"""The shape of `evidence.json`, strictly: what isn't of it was made by somebody else, or changed."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, FailFast, Field, ValidationError

from collector.comparing.comparison import Kind, Standing, Topic
from collector.finding import Status, Verdict
from collector.nights.night import Source

_MOST_FAULTS = 5


def _one_of(kind: type[StrEnum]) -> Callable[[str], str]:
    def known(text: str) -> str:
        return kind(text).value

    return known


def _standing(text: str) -> str:
    return Standing(text.replace("-", " ")).value


def _moment(text: str) -> str:
    if datetime.datetime.fromisoformat(text).tzinfo is None:
        raise ValueError("a moment without its offset")
    return text


def _date(text: str) -> str:
    return datetime.date.fromisoformat(text).isoformat()


_Moment = Annotated[str, AfterValidator(_moment)]
_Date = Annotated[str, AfterValidator(_date)]
_Digest = Annotated[str, Field(pattern=r"\A[0-9a-f]{64}\z")]
_Number = Annotated[int, Field(ge=0)]
_Seconds = float | None
_Item = TypeVar("_Item")


class _ToTheFirst(FailFast):
    """The same as an annotation of what may be None, which has to be hashable."""

    def __hash__(self) -> int:
        return hash(self.fail_fast)


# A list of a million items that are all wrong would be ten million places, and gigabytes of them.
_Listed = Annotated[list[_Item], _ToTheFirst()]


class _Strict(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")


class _Growing(BaseModel):
    """What other contracts say, to which keys may be added."""

    model_config = ConfigDict(strict=True, extra="allow")


class _Cited(_Strict):
    member: str
    command: str
    numbers: _Listed[Annotated[int, Field(ge=1)]]
    lines: _Listed[str]
    file: str | None


class _Member(_Growing):
    name: str
    role: str | None
    release: str | None
    reached: bool


class _Waived(_Growing):
    who: str
    why: str
    until: _Date


class _Finding(_Growing):
    rule: str
    title: str
    status: Annotated[str, AfterValidator(_one_of(Status))]
    statement: str
    remedy: str
    weight: str
    weighed: str | None
    evidence: _Listed[_Cited]
    waiver: _Waived | None


class _Report(_Growing):
    members: _Listed[_Member]
    findings: _Listed[_Finding]


class _Judged(_Strict):
    number: int
    source: Annotated[str, AfterValidator(_one_of(Source))]
    asked: _Moment | None
    judged: _Moment
    verdict: Annotated[str, AfterValidator(_one_of(Verdict))]
    target_release: str
    report: _Report


class _Then(_Growing):
    moment: _Moment
    members: _Listed[_Member]


class _Difference(_Growing):
    topic: Annotated[str, AfterValidator(_one_of(Topic))]
    kind: Annotated[str, AfterValidator(_one_of(Kind))]
    statement: str
    names: _Listed[str]
    remedy: str
    before: _Listed[_Cited]
    after: _Listed[_Cited]


class _Comparison(_Growing):
    standing: Annotated[str, AfterValidator(_standing)]
    target_release: str
    upgrade: bool | None
    before: _Then
    after: _Then
    differences: _Listed[_Difference]


class _Row(_Strict):
    stage: str
    began: _Listed[_Moment | None]
    ended: _Listed[_Moment | None] | None
    shortest_seconds: _Seconds
    longest_seconds: _Seconds
    p50_seconds: _Seconds
    p90_seconds: _Seconds
    against: str
    failed: bool


class _Happening(_Growing):
    poll: int
    moment: _Moment
    kind: str
    severity: str
    stage: str
    statement: str
    remedy: str
    evidence: _Listed[_Cited]


class _Watch(_Strict):
    started: _Moment
    ended: _Moment | None
    outcome: str | None
    target_release: str
    polls: _Number
    stages: _Listed[_Row] | None
    happenings: _Listed[_Happening]


class _Stage(_Growing):
    id: str
    title: str
    start: _Moment | None
    last_moment: _Moment | None
    p50_seconds: _Seconds
    p90_seconds: _Seconds
    skipped: bool


class _Plan(_Growing):
    source: Literal["watch", "anew"]
    window_end: _Moment | None
    begin: _Moment | None
    stages: _Listed[_Stage]


class _Capture(_Strict):
    file: str
    part: str
    member: str
    command: str
    started: _Moment | None
    seconds: _Seconds
    ending: str
    reason: str
    bytes: _Number
    sha256: _Digest
    lines_changed: _Number


class _File(_Strict):
    name: str
    sha256: _Digest | None
    copied: bool
    looks_secret: bool


class _Waiver(_Waived):
    pair: str
    rule: str


class _Versions(_Growing):
    readypair: str
    report: _Digest


class _Policy(_Strict):
    effective: Mapping[str, Any]


class _Inventory(_Growing):
    members: _Listed[str]
    sha256: _Digest


class _Evidence(_Strict):
    model_config = ConfigDict(strict=True, extra="forbid", validate_by_name=True)

    schema_: int = Field(alias="schema")
    tool: Literal["readypair"]
    pair: str
    site: str
    target_release: str
    zone: str
    date: _Date
    versions: _Versions
    before: _Judged | None
    after: _Judged | None
    comparison: _Comparison | None
    watch: _Watch | None
    plan: _Plan | None
    policy: _Policy
    waivers: _Listed[_Waiver]
    inventory: _Inventory
    files: _Listed[_File]
    missing: _Listed[str]
    captures: _Listed[_Capture]


def faults_of_shape(told: Mapping[str, Any]) -> list[str]:
    """Where the data aren't of the shape of `evidence.json`, a clause a place, the first few of them."""
    try:
        _Evidence.model_validate(told)
    except ValidationError as error:
        found = error.errors(include_url=False, include_context=False, include_input=False)
        places = [".".join(map(str, each["loc"])) for each in found]
        more = len(places) - _MOST_FAULTS
        named = [f"evidence.json isn't of readypair's shape at {place}" for place in dict.fromkeys(places)]
        return named[:_MOST_FAULTS] + ([f"and at {more:,} more places at least"] if more > 0 else [])
    except RecursionError:
        return ["evidence.json isn't of readypair's shape"]
    return []
