from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from html.parser import HTMLParser
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urldefrag, urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from collector.finding import Status, Verdict
from collector.nights.change import Change, Kind
from collector.report.board import pages
from collector.report.board.addresses import stem
from collector.report.board.drawn import Standing
from collector.report.board.site import Board, Row, Trouble, frame_of
from collector.report.visible import visible
from collector.rules import CATALOGUE
from tests.collector.report.board.conftest import written
from tests.collector.report.board.sample import LAST, MADE, NEEDED, QUAY, MemoryStore, fleet
from tests.collector.report.sample import HOSTILE
from tests.collector.report.test_page import CONTRAST

Open = Callable[..., Page]
NAMES = ["breakwater", "buoyyard", "ferry-hq", HOSTILE, "lighter", "pontoon", "quay", "slipway"]
HOSTILE_PAGE = f"pairs/{stem(HOSTILE)}.html"
PAGES = ("index.html", "pairs/quay.html", "pairs/lighter.html", "pairs/breakwater.html", "rules/flash-space.html")


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(fleet(), tmp_path_factory.mktemp("board") / "board")


@pytest.fixture
def opened(browser: Browser, board: Path) -> Iterator[Open]:
    """Opens a page of the board as a file; what it asks for elsewhere, or complains of, fails the test."""
    asked: list[str] = []
    complaints: list[str] = []
    contexts = []

    def open_it(page: str = "index.html", *, clock: datetime | None = None, **options: Any) -> Page:
        context = browser.new_context(**options)
        contexts.append(context)
        tab = context.new_page()
        tab.on("request", lambda request: asked.append(request.url))
        tab.on("console", lambda message: complaints.append(message.text))
        tab.on("pageerror", lambda error: complaints.append(str(error)))
        tab.clock.set_fixed_time(clock or MADE)
        tab.goto(f"{board.as_uri()}/{page}")
        return tab

    yield open_it
    for context in contexts:
        context.close()
    assert [url for url in asked if not url.startswith(f"{board.as_uri()}/")] == []
    assert complaints == []


def shown(tab: Page) -> list[str]:
    return tab.locator("#pairs tbody tr:visible th").all_inner_texts()


def test_every_page_asks_nobody_for_anything_and_lets_nothing_foreign_run(opened: Open, board: Path) -> None:
    for page in PAGES:
        tab = opened(page)
        tab.wait_for_load_state("networkidle")
        policy = tab.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content") or ""
        assert policy == (
            "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
            "base-uri 'none'; form-action 'none'"
        )


def test_the_policy_would_stop_a_foreign_script(browser: Browser, board: Path, tmp_path: Path) -> None:
    text = (board / "index.html").read_text(encoding="utf-8")
    (tmp_path / "index.html").write_text(text.replace("</main>", "<script>document.title='in'</script></main>"))
    tab = browser.new_page()
    tab.goto((tmp_path / "index.html").as_uri())
    assert tab.title() != "in"
    tab.close()


def test_the_fleet_is_told_by_site_with_its_counts(opened: Open) -> None:
    tab = opened()
    assert sorted(shown(tab)) == sorted(map(visible, NAMES))
    assert tab.locator(".counts li").all_inner_texts() == ["1 no-go", "0 undecided", "3 not asked", "4 go"]
    assert tab.title() == "8 pairs: 1 no-go, 0 undecided, 3 not asked, 4 go - readypair"
    sites = tab.locator("#pairs .site-name").all_inner_texts()
    assert sites == sorted(sites, key=str.casefold)
    row = tab.locator("#pairs tr", has=tab.get_by_role("link", name="pontoon", exact=True))
    expect(row).to_contain_text("verdict: go, was no-go (better)")
    expect(row).to_contain_text("waived: flash-space")
    lighter = tab.locator("#pairs tr", has=tab.get_by_role("link", name="lighter", exact=True))
    expect(lighter).to_contain_text("since 2027-02-05, undecided then")
    expect(tab.locator("#gone + p")).to_have_text("1 pair of the store that nobody asks any more: gone.")


def test_filters_combine_stand_in_the_address_and_are_gone_back_to(opened: Open) -> None:
    tab = opened()
    tab.get_by_label("Verdict").select_option("go")
    assert shown(tab) == [visible(HOSTILE), "quay", "pontoon", "slipway"]
    tab.get_by_label("changed since the night before").check()
    assert shown(tab) == ["quay", "pontoon"]
    assert tab.url.endswith("#verdict=go&changed=yes")
    tab.get_by_role("combobox", name="Site").select_option("North Pontoon")
    assert shown(tab) == ["pontoon"]
    expect(tab.locator("#shown")).to_have_text("1 of 8 shown")
    tab.reload()
    assert shown(tab) == ["pontoon"]
    assert tab.get_by_role("combobox", name="Site").input_value() == "North Pontoon"
    tab.get_by_label("Text").fill("no such words")
    assert shown(tab) == []
    expect(tab.get_by_text("No pair fits these filters.")).to_be_visible()
    # Typing is no step of its own on the way back.
    tab.go_back()
    assert shown(tab) == ["quay", "pontoon"]
    assert tab.get_by_label("Text").input_value() == ""
    tab.go_back()
    assert shown(tab) == [visible(HOSTILE), "quay", "pontoon", "slipway"]
    assert not tab.get_by_label("changed since the night before").is_checked()
    tab.go_forward()
    assert shown(tab) == ["quay", "pontoon"]
    tab.get_by_role("button", name="Show all").click()
    assert len(shown(tab)) == 8


def test_an_address_brings_its_filters_and_its_order_along(opened: Open) -> None:
    tab = opened("index.html#verdict=go&sort=pair&down=yes")
    assert shown(tab) == ["slipway", "quay", "pontoon", visible(HOSTILE)]
    tab.get_by_role("link", name="slipway", exact=True).click()
    tab.go_back()
    assert shown(tab) == ["slipway", "quay", "pontoon", visible(HOSTILE)]
    tab = opened("index.html#sort=nonsense&verdict=nonsense&site=nowhere")
    assert shown(tab) == []
    expect(tab.locator("th[data-sort=site]")).to_have_attribute("aria-sort", "ascending")


def test_the_text_is_looked_for_in_everything_that_a_row_says(opened: Open) -> None:
    tab = opened()
    for text, found in (("  FLASH-space ", ["pontoon"]), ("slipway yard", ["slipway"]), ("2027-02-06 23:00", None)):
        tab.get_by_label("Text").fill(text)
        assert shown(tab) == found if found else len(shown(tab)) > 2


def test_headings_sort_and_say_so(opened: Open) -> None:
    tab = opened()

    def sorted_by(name: str) -> list[str]:
        tab.get_by_role("columnheader", name=name).get_by_role("button").press("Enter")
        return shown(tab)

    assert sorted_by("Pair") == [visible(HOSTILE), *sorted(set(NAMES) - {HOSTILE})]
    expect(tab.locator("th[data-sort=pair]")).to_have_attribute("aria-sort", "ascending")
    assert tab.locator("th[aria-sort]").count() == 1
    assert sorted_by("Pair")[0] == "slipway"
    expect(tab.locator("th[data-sort=pair]")).to_have_attribute("aria-sort", "descending")
    assert tab.url.endswith("#sort=pair&down=yes")
    assert sorted_by("Verdict")[0] == "breakwater"
    assert sorted_by("in a row")[-1] == "quay"
    # Numbers by their size, not by their digits: 9 of 10 nights before 40 of 40.
    keys = [
        int(key or -1) for key in tab.eval_on_selector_all("#pairs td:nth-child(5)", "c => c.map(e => e.dataset.k)")
    ]
    assert keys == sorted(keys)
    assert {1, 40} <= set(keys)
    assert sorted_by("Site") == shown(opened())


def test_what_has_no_figure_comes_last_whichever_way_round(opened: Open) -> None:
    tab = opened("index.html#sort=window")
    assert shown(tab)[-1] == "ferry-hq"
    assert shown(opened("index.html#sort=window&down=yes"))[-1] == "ferry-hq"


@pytest.mark.parametrize("page", ["index.html", "pairs/quay.html", "rules/clock.html"])
@pytest.mark.parametrize(
    ("after", "told", "stale"),
    [
        (timedelta(hours=10), "That was 10 hours ago.", False),
        (timedelta(minutes=1), "That was 1 minute ago.", False),
        (timedelta(hours=35), "That was 35 hours ago.", False),
        (timedelta(hours=37), "Out of date: that was 37 hours ago. Don't lean on it", True),
        (timedelta(days=9), "Out of date: that was 9 days ago.", True),
        (timedelta(minutes=-20), "That was 0 minutes ago.", False),
        (timedelta(days=-2), "By this machine's clock that is still to come", True),
    ],
)
def test_a_board_that_nobody_renews_is_known_by_the_readers_clock(
    opened: Open, page: str, after: timedelta, told: str, stale: bool
) -> None:
    heard = datetime.fromisoformat(f"{LAST.isoformat()}T21:00:00+00:00")
    tab = opened(page, clock=heard + after)
    expect(tab.locator("#since")).to_contain_text(told)
    assert (tab.locator("html.is-stale").count() == 1) is stale
    assert "this page was made at 2027-02-07 07:30+00:00" in tab.locator("#age").inner_text()


def test_a_pair_that_was_not_asked_is_never_shown_as_it_was(opened: Open) -> None:
    tab = opened("pairs/lighter.html")
    expect(tab.locator("h1")).to_contain_text("not asked")
    expect(tab.locator(".warned")).to_contain_text("The last sweep has no answer of this pair")
    expect(tab.locator("h2#now")).to_have_text("In the night of 2027-02-05")
    tab = opened("pairs/ferry-hq.html")
    expect(tab.locator(".warned")).to_contain_text("nothing is known of it")
    assert tab.locator(".finding").count() == 0


def test_a_pair_tells_its_findings_its_nights_and_its_flash(opened: Open) -> None:
    tab = opened("pairs/quay.html")
    assert tab.locator(".finding").count() == 13
    for picture in tab.locator(".picture img").all():
        assert picture.evaluate("e => e.complete && e.naturalWidth > 0")
    nights, flash = tab.locator(".picture img").all()
    assert (nights.get_attribute("alt") or "").startswith("Of 40 nights from 2026-12-29 to 2027-02-06 it was go on 40.")
    assert "falls short on 2027-02-12" in (flash.get_attribute("alt") or "")
    rows = tab.locator(".figures.plain tbody tr")
    assert rows.count() == 40
    assert rows.first.locator("td").all_text_contents() == [
        "19,000,000,000",
        f"{NEEDED:,}",
        "5,300,000,000",
        f"{NEEDED:,}",
    ]
    expect(tab.get_by_text("quay-a", exact=True).first).to_be_visible()
    expect(tab.locator("section", has=tab.locator("#certificates"))).to_contain_text("CN=quay <join> (serial 02)")
    expect(tab.locator("section", has=tab.locator("#timeline"))).to_contain_text(
        "access points: 2, new deck-3, gone deck-2, was 2"
    )


def test_the_table_beside_the_picture_opens(opened: Open) -> None:
    tab = opened("pairs/pontoon.html")
    box = tab.locator("#history ~ details")
    expect(box.locator("table")).to_be_hidden()
    box.locator("summary").press("Enter")
    assert box.locator("tbody tr").all_inner_texts() == [
        "2027-02-06\t1\tgo\tnothing",
        "2026-12-29 to 2027-02-05\t39\tno-go\tflash-space",
    ]


def test_a_rule_names_the_pairs_that_it_concerns_and_leads_to_their_findings(opened: Open) -> None:
    tab = opened("rules/upgrade-activity.html")
    section = tab.locator("section", has=tab.locator("#concerned"))
    assert section.locator("h3").all_inner_texts() == ["Blocks"]
    expect(section).to_contain_text(f"An operation is in progress on {HOSTILE}.")
    section.get_by_role("link", name="breakwater").click()
    expect(tab.locator("#finding-upgrade-activity pre").first).to_be_visible()
    tab.locator("#finding-upgrade-activity .why a").click()
    expect(tab.locator("h1")).to_have_text("upgrade-activity")
    tab = opened("rules/clock.html")
    expect(tab.locator("main")).to_contain_text("Every pair passes it, or it doesn't apply.")


def test_a_site_leads_to_its_pairs(opened: Open) -> None:
    tab = opened("pairs/quay.html")
    tab.get_by_role("navigation").get_by_role("link", name="Harbour Quay").click()
    assert shown(tab) == [visible(HOSTILE), "quay"]
    tab.get_by_role("button", name="Show all").click()
    tab.locator("#sites ~ table").get_by_role("link", name="North Pontoon").click()
    assert shown(tab) == ["pontoon"]
    assert tab.locator(":focus").inner_text() == "The fleet by site"


class Links(HTMLParser):
    """The addresses and the ids of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.addresses += [each for each in (given.get("href"), given.get("src")) if each]
        self.ids += [each for each in (given.get("id"),) if each]


def test_every_link_leads_somewhere(board: Path) -> None:
    found = {page.relative_to(board): Links(page.read_text(encoding="utf-8")) for page in board.rglob("*.html")}
    assert len(found) == 1 + len(NAMES) + len(CATALOGUE)
    for page, links in found.items():
        assert len(links.ids) == len(set(links.ids)), page
        for address in links.addresses:
            if address == "data:,":
                continue
            path, fragment = urldefrag(address)
            file = (board / page.parent / unquote(urlsplit(path).path)).resolve() if path else board / page
            assert file.is_file(), (page, address)
            if fragment and "=" not in fragment:
                assert fragment in found[file.relative_to(board)].ids, (page, address)


def test_what_comes_from_outside_is_text_on_every_page(opened: Open) -> None:
    for page in ("index.html", HOSTILE_PAGE, "pairs/breakwater.html", "rules/upgrade-activity.html"):
        tab = opened(page)
        assert tab.locator("script").count() == 1
        assert tab.locator("img:not(.picture img)").count() == 0
        assert HOSTILE in (tab.locator("body").text_content() or "")
    assert tab.title() not in ("1", "2")


def test_without_javascript_everything_is_there(opened: Open) -> None:
    tab = opened(java_script_enabled=False)
    expect(tab.locator("#filters")).to_be_hidden()
    assert len(shown(tab)) == 8
    assert tab.locator("#pairs thead button").count() == 0
    expect(tab.locator("#age")).to_contain_text("The verdicts rest on answers since 2027-02-06 21:00+00:00")
    tab.get_by_role("link", name="quay", exact=True).click()
    expect(tab.locator(".picture img").first).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page", [*PAGES, HOSTILE_PAGE])
def test_it_fits_a_phone(opened: Open, page: str, scheme: str) -> None:
    tab = opened(page, viewport={"width": 360, "height": 740}, color_scheme=scheme)
    tab.evaluate("document.querySelectorAll('details').forEach(box => box.open = true)")
    for width in (360, 700, 961, 1280):
        tab.set_viewport_size({"width": width, "height": 740})
        assert tab.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("width", [360, 1280])
def test_everybody_can_use_it(opened: Open, page: str, scheme: str, width: int) -> None:
    # The rules of axe-core, which check WCAG 2.2 and good practice, on the page as it opens and with all of it open;
    # and the contrast of every text, once more by WCAG's own formula. (With `preload` it would ask for
    # the style again, which the page's policy forbids.)
    tab = opened(page, viewport={"width": width, "height": 900}, color_scheme=scheme, clock=MADE + timedelta(days=9))
    for _ in range(2):
        found = Axe().run(tab, options={"resultTypes": ["violations"], "preload": False})
        assert found.response["violations"] == []
        tab.evaluate("document.querySelectorAll('details').forEach(box => box.open = true)")
    seen, low = tab.evaluate(CONTRAST)
    assert seen > 20
    assert low == []


def test_the_keyboard_reaches_everything_in_the_order_of_the_page(opened: Open) -> None:
    tab = opened()
    reached = []
    for _ in range(16):
        tab.keyboard.press("Tab")
        reached.append(tab.locator(":focus").evaluate("e => e.id || e.textContent"))
    assert reached[:6] == ["Skip to the fleet", "by-verdict", "by-site", "by-text", "by-changed", "Show all"]
    assert reached[6:14] == tab.locator("#pairs thead button").all_inner_texts()
    assert reached[14] in map(visible, NAMES)
    tab.locator(".skip").press("Enter")
    assert tab.locator(":focus").inner_text() == "The fleet by site"


def test_the_skip_link_takes_no_filter_away(opened: Open) -> None:
    tab = opened("index.html#verdict=go")
    tab.locator(".skip").press("Enter")
    assert len(shown(tab)) == 4
    tab.get_by_label("changed since the night before").check()
    assert shown(tab) == ["quay", "pontoon"]


@pytest.mark.parametrize("page", PAGES)
def test_headings_are_in_order(opened: Open, page: str) -> None:
    tab = opened(page)
    levels = tab.eval_on_selector_all("h1, h2, h3, h4", "found => found.map(each => Number(each.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_words_are_told_apart_without_colour(opened: Open) -> None:
    tab = opened()
    shapes = tab.eval_on_selector_all(
        ".counts .verdict",
        "words => words.map(word => [word.textContent, getComputedStyle(word, '::before').content])",
    )
    assert [word for word, _ in shapes] == [standing.value for standing in Standing]
    assert len({shape for _, shape in shapes} - {"none"}) == len(Standing)


def test_pictures_follow_the_readers_choice_of_dark(opened: Open) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        tab = opened("pairs/quay.html", color_scheme=scheme)
        picture = tab.locator(".picture img").first
        picture.scroll_into_view_if_needed()
        grounds.append(picture.screenshot())
    assert grounds[0] != grounds[1]


def test_paper_shows_the_pictures_and_no_controls(opened: Open) -> None:
    tab = opened("pairs/quay.html")
    tab.emulate_media(media="print")
    expect(tab.locator(".picture img").first).to_be_visible()
    tab = opened()
    tab.emulate_media(media="print")
    expect(tab.locator("#filters")).to_be_hidden()


def large(rules: int) -> Board:
    """A thousand pairs of each of which so many rules are not known."""
    window = QUAY.pair.window
    change = Change("", LAST, LAST, Kind.INSTALL_STATE, "harbour-controller-0001-a", "IMG C 17.09.04a.0.6", "x" * 20)
    troubles = tuple(Trouble(rule.id, Status.UNKNOWN, False, "") for rule in CATALOGUE[:rules])
    rows = tuple(
        Row(
            name=f"harbour-pair-{number:04d}",
            site=f"Harbour Terminal {number}, second floor",
            standing=Standing.UNDECIDED,
            window=window,
            asked=LAST,
            known=Verdict.UNDECIDED,
            heard=MADE,
            counted=30,
            troubles=troubles,
            changes=(replace(change, pair=f"{number}"),) * 3,
        )
        for number in range(1000)
    )
    return Board(frame_of(MemoryStore().store, MADE), rows, ())


def test_a_rule_that_a_row_does_not_name_is_found_all_the_same(browser: Browser, tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text(pages.index(large(6)), encoding="utf-8")
    (tmp_path / "board.css").write_bytes(pages.style())
    (tmp_path / "board.js").write_bytes(pages.script())
    tab = browser.new_page()
    tab.goto((tmp_path / "index.html").as_uri())
    last = CATALOGUE[5].id
    assert last not in tab.locator("#pairs tbody tr").first.inner_text()
    tab.get_by_label("Text").fill(last)
    expect(tab.locator("#shown")).to_have_text("1000 of 1000 shown")
    tab.get_by_label("Text").fill(CATALOGUE[6].id)
    expect(tab.locator("#shown")).to_have_text("0 of 1000 shown")
    tab.close()


def test_a_web_server_carries_it(browser: Browser, board: Path) -> None:
    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

    complaints: list[str] = []
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=board)) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        tab = browser.new_page()
        tab.on("console", lambda message: complaints.append(message.text))
        tab.goto(f"http://127.0.0.1:{server.server_port}/#verdict=go")
        assert len(shown(tab)) == 4
        tab.get_by_role("link", name="quay", exact=True).click()
        assert tab.locator(".picture img").first.evaluate("e => e.complete && e.naturalWidth > 0")
        tab.close()
        server.shutdown()
    assert complaints == []


@pytest.mark.parametrize("rules", [2, len(CATALOGUE)])
def test_a_thousand_pairs_stay_under_two_megabytes(rules: int) -> None:
    text = pages.index(large(rules))
    assert text.count('<tr role="row" data-verdict=') == 1000
    assert len(text.encode()) < 2_000_000


def test_no_page_names_another_place(board: Path) -> None:
    for page in (*board.rglob("*.html"), *board.rglob("*.css"), *board.rglob("*.js")):
        text = page.read_text(encoding="utf-8")
        assert re.findall(r"(?:src|href)=\"(?:https?:)?//|url\(|@import|fetch\(|XMLHttpRequest", text) == []
