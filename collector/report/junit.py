"""The result as JUnit XML, which whatever runs checks for you can show: a suite a pair, a case a rule.

How a finding stands in it: a block that decides is a failure; something unknown that decides is an error; a rule that
doesn't apply, that the policy turned off, or whose block somebody waives is skipped, with the reason; a caution passes,
and says in its output what it cautions of. Common practice, no source: there is no standard for this format.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import UTC, datetime

from junitparser import Error, Failure, JUnitXml, Skipped, TestCase, TestSuite

from collector.finding import Evidence, Finding, Status
from collector.report import wording
from collector.report.visible import visible
from collector.result import PairResult, Result


def junit(result: Result) -> bytes:
    """The result as an XML document in UTF-8.

    Times are in UTC without saying so, as is usual there. How long a pair took isn't known: only the whole has a time.
    """
    document = JUnitXml("readypair")
    suites = [_suite(result, pair) for pair in result.pairs]
    for suite in suites:
        document.add_testsuite(suite)
    # Not by the library's own adding up: that also writes an attribute here that readers' schemas don't know.
    document.tests = sum(suite.tests for suite in suites)
    document.failures = sum(suite.failures for suite in suites)
    document.errors = sum(suite.errors for suite in suites)
    document.time = round((result.finished - result.started).total_seconds(), 3)
    text = io.BytesIO()
    document.write(text)
    return text.getvalue() + b"\n"


def _suite(result: Result, pair: PairResult) -> TestSuite:
    suite = TestSuite(visible(pair.pair.name))
    suite.timestamp = _moment(result.started)
    for name, value in _properties(pair):
        suite.add_property(visible(name), visible(value))
    suite.add_testcases([_case(pair, finding) for finding in pair.findings])
    return suite


def _properties(pair: PairResult) -> Iterable[tuple[str, str]]:
    yield "site", pair.pair.site
    yield "verdict", pair.verdict.value
    yield "target_release", pair.target_release
    if not pair.in_time:
        yield "not reached in time", wording.too_late(pair)
    if pair.pair.window:
        yield "window", wording.window(pair.pair.window)
    for member in pair.members:
        yield member.name, wording.member(member)


def _case(pair: PairResult, finding: Finding) -> TestCase:
    case = TestCase(finding.rule, classname=visible(pair.pair.name), time=0)
    statement = visible(finding.statement)
    if finding.counts_as is Status.BLOCK:
        case.result = _with_text(Failure(statement, finding.status.value), finding)
    elif finding.counts_as is Status.UNKNOWN:
        case.result = _with_text(Error(statement, Status.UNKNOWN.value), finding)
    elif finding.waiver or finding.status is Status.NOT_APPLICABLE:
        case.result = Skipped(visible(wording.waived(finding)) or statement)
    if not finding.decides and finding.status in (Status.BLOCK, Status.CAUTION, Status.UNKNOWN):
        case.system_out = f"{finding.status}: {statement}\n{_text(finding)}"
    return case


def _with_text(answer: Failure | Error, finding: Finding) -> Failure | Error:
    answer.text = _text(finding)
    return answer


def _text(finding: Finding) -> str:
    """What to do, then the lines that the finding rests on."""
    remedy = f"What to do: {finding.remedy}" if finding.remedy else ""
    parts = [remedy, wording.waived(finding), wording.weighed(finding)]
    return "\n".join([*(visible(part) for part in parts if part), *_lines(finding.evidence)])


def _lines(evidence: Iterable[Evidence]) -> Iterable[str]:
    for item in evidence:
        yield visible(f"{item.member}: {item.command}")
        for number, line in zip(item.numbers, item.lines, strict=True):
            yield f"{number:>5} | {visible(line)}"


def _moment(time: datetime) -> str:
    return time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S")
