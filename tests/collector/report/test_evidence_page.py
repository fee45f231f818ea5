"""The evidence's report on paper: printed by a browser on A4, each page read again."""

from __future__ import annotations

import io
import json
import re
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any

import pypdf
import pytest
from playwright.sync_api import Browser

from collector.evidence.archive import read
from collector.report import evidence_page
from tests.collector.evidence import window

A4 = (595.0, 842.0)
WIDTH_BETWEEN_MARGINS = 680
"""CSS pixels between the margins of a printed page: 210 mm less 2 times 15 mm."""
HOSTILE = '</style><script>alert(1)</script>"}\\a @page{}\u202e'


@cache
def _archive(path: Path, failed: bool) -> bytes:
    from collector import cli

    window.fill(path / "s.db", failure="auto-abort" if failed else None)
    inventory = str(Path(__file__).parents[3] / "inventory" / "demo")
    out = path / "e.zip"
    asked = ["evidence", "quay", "--inventory", inventory, "--store", str(path / "s.db"), "--out", str(out)]
    assert cli.main(asked) == 0
    return out.read_bytes()


@pytest.fixture(scope="module", params=["done", "rolled back"])
def handed_in(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], str]:
    """The data and the report of a good window, and of one that failed."""
    failed = request.param != "done"
    files = read(_archive(tmp_path_factory.mktemp("page"), failed)).files
    return json.loads(files["evidence.json"]), files["report.html"].decode()


def printed(browser: Browser, html: str) -> pypdf.PdfReader:
    context = browser.new_context(color_scheme="dark")
    try:
        page = context.new_page()
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.set_content(html)
        pdf = page.pdf(prefer_css_page_size=True)
        assert [url for url in asked if not url.startswith(("about:", "data:"))] == []
        return pypdf.PdfReader(io.BytesIO(pdf))
    finally:
        context.close()


def words(text: str) -> str:
    """Without blanks and ligatures: a printed page breaks its lines where it wants, and no row over two pages."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))


def test_every_page_is_a4_and_says_what_it_is_of(browser: Browser, handed_in: tuple[dict[str, Any], str]) -> None:
    told, html = handed_in
    pages = printed(browser, html).pages
    assert 5 <= len(pages) <= 25
    [sha256] = set(re.findall(r"SHA-256 <span class=\"digest\">([0-9a-f]{64})</span></td></tr>\n</tbody>", html))
    for number, page in enumerate(pages, 1):
        box = page.mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(A4, abs=1.5)
        text = words(page.extract_text())
        assert f"{told['pair']},{words(told['site'])},to{told['target_release']}" in text
        assert told["date"] in text
        assert sha256 in text
        assert f"{number}of{len(pages)}" in text


def test_nothing_is_lost_on_the_way_to_paper(browser: Browser, handed_in: tuple[dict[str, Any], str]) -> None:
    told, html = handed_in
    paper = "|".join(words(page.extract_text()) for page in printed(browser, html).pages)
    for side in ("before", "after"):
        for finding in told[side]["report"]["findings"]:
            assert words(finding["rule"]) in paper
            assert words(finding["statement"])[:60] in paper, finding["statement"]
    for happening in told["watch"]["happenings"]:
        assert words(happening["statement"])[:40] in paper, happening["statement"]
    for difference in told["comparison"]["differences"]:
        assert words(difference["statement"])[:40] in paper
    assert all(words(each)[:60] in paper for each in evidence_page.CAUTIONS)


def _endless(value: Any, key: str = "") -> Any:
    """The data with sentences, names and lines that have no place to break."""
    if isinstance(value, dict):
        return {name: _endless(each, name) for name, each in value.items()}
    if isinstance(value, list):
        return [_endless(each, key) for each in value]
    wordy = ("statement", "remedy", "site", "rule", "lines", "names", "command", "missing", "name", "sha256")
    return "W" * 300 if key in wordy and isinstance(value, str) else value


@pytest.mark.parametrize("endless", [False, True])
def test_nothing_is_cut_off_at_the_side(endless: bool, browser: Browser, handed_in: tuple[dict[str, Any], str]) -> None:
    told, html = handed_in
    if endless:
        html = evidence_page.page(_endless(told), "0" * 64)
    context = browser.new_context(viewport={"width": WIDTH_BETWEEN_MARGINS, "height": 900})
    try:
        page = context.new_page()
        page.set_content(html)
        page.emulate_media(media="print")
        wide = page.evaluate(
            "[...document.querySelectorAll('body *')].filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth "
            "|| e.getBoundingClientRect().right > window.innerWidth).map(e => e.outerHTML.slice(0, 200))"
        )
        assert wide == []
    finally:
        context.close()


def test_paper_is_white_and_ink_is_black_in_the_dark_too(
    browser: Browser, handed_in: tuple[dict[str, Any], str]
) -> None:
    context = browser.new_context(color_scheme="dark")
    try:
        page = context.new_page()
        page.set_content(handed_in[1])
        page.emulate_media(media="print", color_scheme="dark")
        colours = page.evaluate(
            "[...new Set([...document.querySelectorAll('body, body *')].flatMap(e => {const s = getComputedStyle(e);"
            "return [s.color, s.backgroundColor]}))].sort()"
        )
        assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)", "rgb(51, 51, 51)", "rgba(0, 0, 0, 0)"]
    finally:
        context.close()


def test_a_plan_of_another_night_is_told(handed_in: tuple[dict[str, Any], str]) -> None:
    told, html = handed_in
    assert "The plan was for another window" not in html
    later = {**told["plan"], "begin": "2027-04-17T23:10:00+01:00"}
    later["stages"] = [{**each, "start": None} for each in later["stages"]]
    shown = evidence_page.page({**told, "plan": later}, "0" * 64)
    assert shown.count("The plan was for another window, that of 2027-04-17") == 2


def test_hostile_names_stay_names(browser: Browser, handed_in: tuple[dict[str, Any], str]) -> None:
    told = {**handed_in[0], "pair": HOSTILE, "site": HOSTILE, "date": HOSTILE, "missing": [HOSTILE]}
    html = evidence_page.page(told, "0" * 64)
    assert html.count("</style>") == 1
    assert "<script" not in html
    pages = printed(browser, html).pages
    assert words("</style><script>alert(1)</script>") in words(pages[0].extract_text())
    assert "\\u202e" in pages[0].extract_text()


@pytest.mark.parametrize("key", ["pair", "before", "watch", "captures", "versions", "files"])
def test_what_is_no_evidence_is_unshowable(key: str, handed_in: tuple[dict[str, Any], str]) -> None:
    for poor in ({name: value for name, value in handed_in[0].items() if name != key}, {**handed_in[0], key: 7}):
        try:
            page = evidence_page.page(poor, "0" * 64)
        except evidence_page.UNSHOWABLE:
            continue
        assert key == "pair"
        assert "7" in page
