from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Literal

import pytest
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from collector import ordering
from collector.report.document import document, pieces
from tests.collector.report.sample import LATE, RESULT, UNHEARD, UNREACHED, WAIVER


class Strict(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")


class Evidence(Strict):
    member: str
    command: str
    numbers: list[int]
    lines: list[str]


class Waiver(Strict):
    who: str
    why: str
    until: str


class Finding(Strict):
    rule: str
    title: str
    status: Literal["pass", "caution", "block", "unknown", "not-applicable"]
    statement: str
    remedy: str
    weight: Literal["block", "caution", "off"]
    weighed: Literal["block", "caution", "off"] | None
    evidence: list[Evidence]
    why: str
    waiver: Waiver | None


class Member(Strict):
    name: str
    role: Literal["active", "standby"] | None
    reached: bool
    release: str | None
    unreached_because: str | None


class Image(Strict):
    file: str
    bytes: int


class Window(Strict):
    start: AwareDatetime
    minutes: int


class Step(Strict):
    rule: str
    remedy: str
    when: Literal["any time", "in a window"]
    disruptive: bool
    after: list[str]


class Pair(Strict):
    pair: str
    site: str
    verdict: Literal["go", "no-go", "undecided"]
    in_time: bool
    target_release: str
    image: Image | None
    window: Window | None
    members: tuple[Member, Member]
    steps: list[Step]
    left_unknown: list[str]
    findings: list[Finding]


class Report(Strict):
    """The contract of DESIGN section 4, `report.json`, with the keys that were added to it since."""

    version: Literal[1] = Field(alias="schema")
    tool: Literal["readypair"]
    started: AwareDatetime
    finished: AwareDatetime
    inventory: str
    ended: Literal["complete", "deadline", "interrupted"]
    notes: list[str]
    pairs: list[Pair]


def written() -> str:
    return json.dumps(document(RESULT), ensure_ascii=False)


def test_it_keeps_the_contract() -> None:
    report = Report.model_validate_json(written())
    assert [pair.pair for pair in report.pairs] == [pair.pair.name for pair in RESULT.pairs]
    assert all(len(pair.findings) == 13 for pair in report.pairs)


@pytest.mark.parametrize("count", [0, 1, len(RESULT.pairs)])
def test_its_pieces_are_the_whole_text(count: int) -> None:
    # U+2028 ends a line for Python, though not for JSON.
    result = replace(RESULT, inventory='[]"\u2028\udc80', notes=("[]",), pairs=RESULT.pairs[:count])
    assert "".join(pieces(result)) == json.dumps(document(result), indent=2, ensure_ascii=False) + "\n"


def test_no_piece_holds_two_pairs() -> None:
    assert max(piece.count('"target_release"') for piece in pieces(RESULT)) == 1


def test_a_pair_that_was_not_reached_in_time_is_told() -> None:
    report = Report.model_validate_json(json.dumps(document(LATE)))
    assert report.ended == "deadline"
    assert [pair.pair for pair in report.pairs if not pair.in_time] == ["tender"]
    assert Report.model_validate_json(written()).ended == "complete"


def test_the_contract_tells_a_breach() -> None:
    data = document(RESULT)
    del data["pairs"][0]["findings"][0]["waiver"]
    with pytest.raises(ValidationError):
        Report.model_validate_json(json.dumps(data))


def test_it_says_what_the_result_says() -> None:
    data = document(RESULT)
    assert data["started"] == "2027-02-06T21:14:03+01:00"
    pontoon = data["pairs"][1]
    assert (pontoon["pair"], pontoon["verdict"], pontoon["target_release"]) == ("pontoon", "no-go", "17.12.4")
    assert pontoon["window"] == {"start": "2027-02-06T23:00:00+01:00", "minutes": 240}
    short = next(finding for finding in pontoon["findings"] if finding["rule"] == "flash-space")
    assert short["status"] == "block"
    assert short["evidence"][0] == {
        "member": "pontoon-b",
        "command": "dir bootflash:",
        "numbers": [31],
        "lines": ["26458804224 bytes total (2503411200 bytes free)"],
    }
    caution = next(finding for finding in data["pairs"][5]["findings"] if finding["rule"] == "release-support")
    assert (caution["weight"], caution["weighed"], caution["waiver"]) == ("caution", "caution", None)


def test_what_is_not_known_is_null() -> None:
    unseen = replace(RESULT.pairs[4].members[1], role=None)
    pair = replace(
        RESULT.pairs[4],
        pair=replace(RESULT.pairs[4].pair, image=None, window=None),
        members=(RESULT.pairs[4].members[0], unseen),
    )
    data: dict[str, Any] = document(replace(RESULT, pairs=(pair,)))["pairs"][0]
    assert data["members"][1] == {
        "name": "lighter-b",
        "role": None,
        "reached": False,
        "release": None,
        "unreached_because": None,
    }
    assert (data["image"], data["window"]) == (None, None)


def test_a_time_without_offset_gets_one() -> None:
    data = document(replace(RESULT, started=datetime(2027, 2, 6, 21, 14)))
    assert datetime.fromisoformat(data["started"]).tzinfo is not None


def test_bytes_that_were_no_text_do_not_break_the_file() -> None:
    broken = replace(UNREACHED, statement="Saw \udcff.", evidence=())
    pair = replace(RESULT.pairs[0], findings=(broken,))
    text = json.dumps(document(replace(RESULT, inventory="\udc80", pairs=(pair,))), ensure_ascii=False)
    assert "Saw \ufffd." in text.encode("utf-8").decode()


def test_waivers_steps_and_notes_are_told() -> None:
    step = ordering.Step(
        "install-mode", "Convert it.", ordering.When.IN_A_WINDOW, disruptive=True, after=("pair-state",)
    )
    waived = replace(UNREACHED, waiver=replace(WAIVER, until=datetime(2027, 3, 31, 6, tzinfo=UTC)), why="It matters.")
    pair = replace(RESULT.pairs[0], findings=(waived,), steps=(step,))
    data = document(replace(RESULT, pairs=(pair,), notes=("A waiver has expired.",)))
    Report.model_validate_json(json.dumps(data))
    assert data["notes"] == ["A waiver has expired."]
    assert data["pairs"][0]["steps"] == [
        {
            "rule": "install-mode",
            "remedy": "Convert it.",
            "when": "in a window",
            "disruptive": True,
            "after": ["pair-state"],
        }
    ]
    (finding,) = data["pairs"][0]["findings"]
    assert finding["why"] == "It matters."
    assert (finding["waiver"]["who"], finding["waiver"]["until"]) == ("R. [b]Vane", "2027-03-31T06:00:00+00:00")


def test_why_a_member_was_not_reached_is_told_with_what_it_leaves_unknown() -> None:
    told: dict[str, Any] = document(UNHEARD)["pairs"][0]
    assert told["members"][1]["unreached_because"] == "its host key isn't known: run `readypair trust`"
    assert told["left_unknown"] == ["install-mode", "pair-state"]
