"""What only a plan asks is served, recorded and found again like any other capture, and no sweep asks it."""

from __future__ import annotations

from pathlib import Path

from collector import job, recording, rules
from collector.capture import Capture, Ending
from collector.recorded import RecordedMember
from inventory.opening import open_inventory
from parsers import catalogue
from tests.collector.sessions import MEMBER, SETTINGS, controller, logged_in
from tests.demo_fleet import FIXTURES, INVENTORY

TEXTS = {command.text: f"answer to {command.text}\n" for command in catalogue.deep()}


def _quay_a() -> list[str]:
    return [(FIXTURES / "quay-a" / f"{command.slug}.txt").read_text() for command in catalogue.deep()]


def test_a_session_asks_it_over_ssh(tmp_path: Path) -> None:
    texts = dict(zip(TEXTS, _quay_a(), strict=True))
    with controller(tmp_path, texts=texts) as fleet, logged_in(fleet, tmp_path) as member:
        captures = [member.ask(command) for command in catalogue.deep()]
        received = fleet.received(MEMBER)
    assert received == [*SETTINGS, *TEXTS]
    assert [capture.ending for capture in captures] == [Ending.COMPLETE] * len(TEXTS)
    assert [capture.text for capture in captures] == [text.replace("\n", "\r\n") for text in texts.values()]


def test_it_is_written_and_found_again(tmp_path: Path) -> None:
    captures = [Capture(MEMBER, text, answer) for text, answer in TEXTS.items()]
    recording.write(tmp_path, MEMBER, captures)
    assert recording.load(tmp_path, MEMBER, catalogue.deep()) == captures
    recorded = RecordedMember(recording.open_member(tmp_path / MEMBER, MEMBER))
    assert [recorded.ask(command) for command in catalogue.deep()] == captures


def test_neither_band_is_another_form_of_the_other(tmp_path: Path) -> None:
    recording.write(tmp_path, MEMBER, [Capture(MEMBER, "show ap dot11 5ghz load-info", "x\n")])
    others = [command for command in catalogue.deep() if command.text != "show ap dot11 5ghz load-info"]
    assert {each.ending for each in recording.load(tmp_path, MEMBER, others)} == {Ending.MISSING}


def test_a_pair_is_asked_it_by_the_job_when_it_is_wanted(tmp_path: Path) -> None:
    fleet = open_inventory(INVENTORY, rules.waivable())
    quay = [pair for pair in fleet.pairs if pair.name == "quay"]
    job.prepare_recorded(fleet.nornir, quay, FIXTURES)
    heard: dict[str, list[Capture]] = {}
    job.gather(
        fleet.nornir,
        quay,
        connection=job.RECORDED,
        commands=catalogue.deep(),
        workers=1,
        heard=lambda _, captures: heard.update(captures),
        progress=lambda *_: None,
    )
    assert [capture.text for capture in heard["quay-a"]] == _quay_a()
    assert all("% Invalid input detected" in capture.text for capture in heard["quay-b"])
