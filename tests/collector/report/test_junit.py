"""JUnit XML: what a rule's answer comes to there, and that every reader takes it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from junitparser import JUnitXml, TestCase, TestSuite

from collector.finding import Finding, Status, Verdict
from collector.report.junit import junit
from collector.result import Result
from tests.collector.report.sample import HOSTILE_FINDING, LATE, RESULT, SHORT, UNTOLD, WAIVER, finding, pair

# The schema that pytest's source package carries for the reports it writes (`junit-10.xsd`): what each element may hold
# and which attributes it must and may have.
CHILDREN: Mapping[str, set[str]] = {
    "testsuites": {"testsuite"},
    "testsuite": {"testsuite", "properties", "testcase", "system-out", "system-err"},
    "properties": {"property"},
    "property": set(),
    "testcase": {"skipped", "error", "failure", "system-out", "system-err"},
    **{leaf: set() for leaf in ("skipped", "error", "failure", "system-out", "system-err")},
}
MUST: Mapping[str, set[str]] = {
    "testsuite": {"name", "tests", "failures", "errors"},
    "property": {"name", "value"},
    "testcase": {"name"},
}
MAY: Mapping[str, set[str]] = {
    "testsuites": {"name", "time", "tests", "failures", "errors"},
    "testsuite": {"time", "skipped", "timestamp", "hostname", "id", "package", "file", "log", "url", "version"},
    "testcase": {"time", "classname", "group"},
    **{answer: {"type", "message"} for answer in ("skipped", "error", "failure")},
}
SECONDS = re.compile(r"[0-9,]*(\.[0-9]{0,3})?")


def texts() -> st.SearchStrategy[str]:
    """Any text that Python holds, bytes that weren't UTF-8 among it."""
    return st.text(st.characters(exclude_categories=()))


def suites(result: Result) -> dict[str, TestSuite]:
    document: Any = JUnitXml.fromstring(junit(result))
    return {suite.name: suite for suite in document}


def case(*troubles: Finding, rule: str = "flash-space") -> TestCase:
    told = suites(replace(RESULT, pairs=(pair("pontoon", "North Pontoon", Verdict.NO_GO, *troubles),)))
    return next(each for each in told["pontoon"] if each.name == rule)


def test_a_suite_is_a_pair_and_a_case_is_a_rule() -> None:
    told = suites(RESULT)
    assert list(told) == [each.pair.name for each in RESULT.pairs]
    for each in RESULT.pairs:
        assert [found.name for found in told[each.pair.name]] == [finding.rule for finding in each.findings]
        assert {found.classname for found in told[each.pair.name]} == {each.pair.name}


def test_a_block_is_a_failure_that_says_what_to_do_and_shows_the_lines() -> None:
    found = case(SHORT)
    (failure,) = found.result
    assert (found.is_failure, failure.message, failure.type) == (True, SHORT.statement, "block")
    assert found.system_out is None
    assert failure.text.splitlines() == [
        f"What to do: {SHORT.remedy}",
        "pontoon-b: dir bootflash:",
        "   31 | 26458804224 bytes total (2503411200 bytes free)",
        "pontoon-a: dir bootflash:",
        "   29 | 26458804224 bytes total (19503411200 bytes free)",
    ]


def test_what_is_not_known_is_an_error() -> None:
    found = case(UNTOLD, rule="install-mode")
    assert (found.is_error, found.result[0].message) == (True, UNTOLD.statement)


def test_a_waived_block_that_hides_an_unknown_is_an_error() -> None:
    assert case(replace(SHORT, waiver=WAIVER, unsure=True)).is_error


def test_a_waived_block_is_skipped_and_says_who_accepts_it() -> None:
    found = case(replace(SHORT, waiver=WAIVER))
    assert found.is_skipped
    assert found.result[0].message == "Waived by R. [b]Vane until 2027-03-31: New \\x1bflash is ordered."
    assert found.system_out.startswith(f"block: {SHORT.statement}")


def test_what_does_not_apply_is_skipped() -> None:
    found = case(rule="pair-interface")
    assert found.is_skipped
    assert found.result[0].message == "Physical controllers have no redundancy interface to choose."


@pytest.mark.parametrize("status", [Status.CAUTION, Status.UNKNOWN])
def test_what_only_cautions_passes_and_says_so(status: Status) -> None:
    trouble = replace(finding("config-sync", status, "Four lines differ.", "Correct them."), weight="caution")
    found = case(trouble, rule="config-sync")
    assert found.is_passed
    assert found.system_out == f"{status}: Four lines differ.\nWhat to do: Correct them."


def test_what_passes_says_nothing() -> None:
    found = case()
    assert found.is_passed
    assert found.system_out is None


def test_the_counts_add_up() -> None:
    root = ElementTree.fromstring(junit(RESULT))
    assert root.attrib == {"name": "readypair", "tests": "91", "failures": "5", "errors": "2", "time": "42.0"}
    for name in ("tests", "failures", "errors"):
        assert int(root.attrib[name]) == sum(int(suite.attrib[name]) for suite in root)
    slipway = suites(RESULT)["slipway"]
    assert (slipway.tests, slipway.failures, slipway.errors, slipway.skipped) == (13, 2, 0, 1)


def test_a_suite_tells_when_it_ran_and_of_its_pair() -> None:
    suite: Any = suites(RESULT)["lighter"]
    # Apache Ant, "JUnitReport": a time without a zone.
    assert suite.timestamp == "2027-02-06T20:14:03"
    assert {each.name: each.value for each in suite.properties()} == {
        "site": "Lighter Basin",
        "verdict": "undecided",
        "target_release": "17.12.4",
        "window": "2027-02-07 23:00+01:00 to 2027-02-08 03:00+01:00 (240 minutes)",
        "lighter-a": "active, release 17.9.4a",
        "lighter-b": "not reached; its partner tells: standby",
    }


def test_a_suite_tells_that_its_pair_was_not_reached_in_time() -> None:
    suite: Any = suites(LATE)["tender"]
    told = {each.name: each.value for each in suite.properties()}
    assert told["not reached in time"] == "The sweep's deadline of 45 min came before it was asked."


def conforms(document: bytes) -> None:
    for element in ElementTree.fromstring(document).iter():
        names, must = set(element.attrib), MUST.get(element.tag, set())
        assert {child.tag for child in element} <= CHILDREN[element.tag]
        assert must <= names <= must | MAY.get(element.tag, set())
        assert SECONDS.fullmatch(element.get("time", ""))


def test_it_is_as_readers_know_it() -> None:
    conforms(junit(RESULT))
    conforms(junit(replace(RESULT, pairs=())))


@given(texts(), texts())
def test_no_text_breaks_it(name: str, line: str) -> None:
    hostile = replace(
        HOSTILE_FINDING,
        statement=name,
        remedy=line,
        evidence=(replace(HOSTILE_FINDING.evidence[0], lines=(line,) * 3),),
    )
    document = junit(replace(RESULT, pairs=(pair(name or "quay", line, Verdict.NO_GO, hostile),)))
    conforms(document)
    assert JUnitXml.fromstring(document).failures == 1


def test_controls_are_spelled_out() -> None:
    (breakwater,) = (each for each in suites(RESULT)["breakwater"] if each.name == "upgrade-activity")
    assert "AP-\\x1b[2J\\x1b]0;gone\\x07[bold]deck[/bold]" in breakwater.result[0].text
    assert "in progress \\xff" in breakwater.result[0].text
