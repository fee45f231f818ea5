from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from collector.finding import Verdict
from collector.ordering import Step, When
from collector.report.page import page
from collector.report.visible import visible
from collector.result import Result
from tests.collector.report.sample import HOSTILE, LATE, RESULT, RULES, STEERING, UNHEARD, UNTOLD, WAIVER, fleet_of

Open = Callable[..., Page]

# WCAG 2.2, success criterion 1.4.3 and its definitions of contrast ratio and relative luminance, for every text
# that is shown, against the nearest background that isn't transparent.
CONTRAST = """() => {
  const parse = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const linear = (c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
  const luminance = (colour) => {
    const [x, y, z] = colour.slice(0, 3).map((c) => linear(c / 255));
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const ground = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const colour = parse(getComputedStyle(e).backgroundColor);
      if (colour.length < 4 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const low = [];
  let seen = 0;
  for (const element of document.body.querySelectorAll("*")) {
    const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
    if (!own || !element.checkVisibility()) continue;
    seen += 1;
    const [a, b] = [parse(getComputedStyle(element).color), ground(element)].map(luminance).sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) low.push(`${element.tagName}.${element.className} ${(a + 0.05) / (b + 0.05)}`);
  }
  return [seen, low];
}"""


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Iterator[Open]:
    """Opens a report as a file; whatever it asks for besides itself, or complains of, fails the test."""
    asked: list[str] = []
    complaints: list[str] = []
    contexts = []

    def open_it(result: Result = RESULT, *, fragment: str = "", **options: Any) -> Page:
        file = tmp_path / "report.html"
        file.write_text(page(result, RULES), encoding="utf-8")
        context = browser.new_context(**options)
        contexts.append(context)
        tab = context.new_page()
        tab.on("request", lambda request: asked.append(request.url))
        tab.on("console", lambda message: complaints.append(message.text))
        tab.on("pageerror", lambda error: complaints.append(str(error)))
        tab.goto(f"{file.as_uri()}{fragment}")
        return tab

    yield open_it
    for context in contexts:
        context.close()
    assert {url.split("#")[0] for url in asked} <= {(tmp_path / "report.html").as_uri()}
    assert complaints == []


def shown(tab: Page) -> list[str]:
    """The names of the pairs that are shown; the table and the sections must agree."""
    rows = tab.locator(".fleet tbody tr:visible th").all_inner_texts()
    assert tab.locator("details.pair:visible > summary h3").all_inner_texts() == rows
    return rows


def test_it_asks_nobody_for_anything(opened: Open) -> None:
    tab = opened()
    tab.wait_for_load_state("networkidle")
    policy = tab.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content") or ""
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy


def test_the_policy_would_stop_a_foreign_script(browser: Browser, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text(page(RESULT, RULES).replace("</main>", "<script>document.title='in'</script></main>"))
    tab = browser.new_page()
    tab.goto(file.as_uri())
    assert tab.title() != "in"
    tab.close()


def test_every_pair_and_every_finding_is_told(opened: Open) -> None:
    tab = opened()
    assert sorted(shown(tab)) == sorted(pair.pair.name for pair in RESULT.pairs)
    assert tab.locator("details.finding").count() == 7 * 13
    assert tab.title() == "7 pairs: 2 go, 4 no-go, 1 undecided - readypair"
    first = tab.locator(".fleet tbody tr").first
    assert "no-go" in first.inner_text()
    assert "flash-space" in first.inner_text()


def test_pairs_that_cannot_go_come_first_and_open(opened: Open) -> None:
    tab = opened()
    verdicts = tab.locator("details.pair > summary .verdict").all_inner_texts()
    assert verdicts == ["no-go"] * 4 + ["undecided"] + ["go"] * 2
    assert tab.locator("details.pair[open]").count() == 5
    expect(tab.get_by_text("Installation mode is BUNDLE")).to_be_visible()
    pontoon = tab.locator("#pair-pontoon details.finding")
    assert pontoon.first.get_attribute("data-rule") == "flash-space"
    evidence = pontoon.first.locator("pre").first.inner_text()
    assert evidence.strip() == "31 26458804224 bytes total (2503411200 bytes free)"
    assert "pontoon-b, dir bootflash:, line 31" in pontoon.first.inner_text()
    assert "What to do: Remove inactive software" in pontoon.first.inner_text()


def test_filters_work_and_combine(opened: Open) -> None:
    tab = opened()
    verdict, rule, text = tab.get_by_label("Verdict"), tab.get_by_label("Rule not passed"), tab.get_by_label("Text")
    verdict.select_option("no-go")
    assert shown(tab) == ["pontoon", "slipway", "buoyyard", "breakwater"]
    rule.select_option("install-mode")
    assert shown(tab) == ["slipway"]
    assert tab.locator("#pair-slipway details.finding:visible").count() == 1
    verdict.select_option("")
    assert shown(tab) == ["slipway", "lighter"]
    text.fill("  BUNDLE mode ")
    assert shown(tab) == ["slipway"]
    assert tab.get_by_role("status").inner_text() == "1 of 7 shown"
    text.fill("no such words")
    assert shown(tab) == []
    expect(tab.get_by_text("No pair fits these filters.")).to_be_visible()
    tab.get_by_role("button", name="Show all").click()
    expect(tab.get_by_role("status")).to_have_text("7 of 7 shown")
    assert len(shown(tab)) == 7
    assert tab.locator("#pair-slipway details.finding:visible").count() == 13


def test_a_rule_that_only_cautions_is_found_too(opened: Open) -> None:
    tab = opened()
    tab.get_by_label("Rule not passed").select_option("release-support")
    assert shown(tab) == ["ferry-hq"]
    expect(tab.get_by_text("The site's policy weighs this rule as: caution.")).to_be_visible()


def test_a_link_opens_what_it_points_at(opened: Open) -> None:
    tab = opened(fragment="#pair-quay--boot-variable")
    expect(tab.locator("#pair-quay--boot-variable pre")).to_be_visible()
    tab.get_by_label("Verdict").select_option("no-go")
    tab.evaluate("location.hash = '#pair-ferry-hq--rom-monitor'")
    expect(tab.locator("#pair-ferry-hq--rom-monitor pre")).to_be_visible()


def test_every_link_leads_somewhere(opened: Open) -> None:
    tab = opened()
    hrefs = tab.eval_on_selector_all("a", "links => links.map(link => link.getAttribute('href'))")
    assert all(href.startswith("#") for href in hrefs)
    ids = tab.eval_on_selector_all("[id]", "elements => elements.map(element => element.id)")
    assert {href[1:] for href in hrefs} <= set(ids)
    assert len(ids) == len(set(ids))


def test_names_that_look_alike_have_their_own_places() -> None:
    quay = RESULT.pairs[0]
    pairs = tuple(replace(quay, pair=replace(quay.pair, name=name)) for name in ("a b", "a-b", "A b", "渡船", "---"))
    text = page(replace(RESULT, pairs=pairs), RULES)
    anchors = re.findall(r'<details class="pair [^"]*" id="([^"]*)"', text)
    assert anchors == ["pair-a-b", "pair-a-b-2", "pair-a-b-3", "pair-unnamed", "pair-unnamed-2"]


def test_what_comes_from_outside_is_text(opened: Open) -> None:
    tab = opened()
    assert tab.locator("img").count() == 0
    assert tab.locator("script").count() == 1
    evidence = tab.locator("#pair-breakwater--upgrade-activity pre").inner_text()
    assert HOSTILE in evidence
    assert visible(STEERING) in evidence
    assert "Operation       in progress \\xff" in evidence
    assert HOSTILE in (tab.locator("#pair-breakwater summary .site").text_content() or "")


@pytest.mark.parametrize("place", ["name", "site", "inventory", "rule", "member"])
def test_markup_is_text_wherever_it_stands(opened: Open, place: str) -> None:
    quay = RESULT.pairs[0]
    evil = HOSTILE + "' x=1 \x1b[0m\udcfe"
    finding = replace(quay.findings[0], rule=evil if place == "rule" else "hardware-support")
    member = replace(quay.members[0], name=evil, release=evil, role=evil)
    pair = replace(
        quay,
        pair=replace(
            quay.pair,
            name=evil if place == "name" else "quay",
            site=evil if place == "site" else "Harbour Quay",
        ),
        members=(member if place == "member" else quay.members[0], quay.members[1]),
        findings=(finding,),
    )
    tab = opened(replace(RESULT, inventory=evil if place == "inventory" else "here", pairs=(pair,)))
    assert visible(evil) in (tab.locator("body").text_content() or "")
    assert tab.locator("img").count() == 0
    assert tab.locator("script").count() == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_a_phone(opened: Open, scheme: str) -> None:
    long = replace(RESULT.pairs[0], pair=replace(RESULT.pairs[0].pair, name="x" * 90, site="y" * 90))
    tab = opened(
        replace(RESULT, pairs=(*RESULT.pairs, long)), viewport={"width": 360, "height": 740}, color_scheme=scheme
    )
    tab.evaluate("document.querySelectorAll('details').forEach(box => box.open = true)")
    assert tab.evaluate("document.documentElement.scrollWidth") == 360
    for width in (700, 800, 961, 1000):
        tab.set_viewport_size({"width": width, "height": 740})
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
    tab.set_viewport_size({"width": 360, "height": 740})
    # The long evidence lines scroll in their own box, and no other element is wider than the page.
    boxes = tab.locator("#pair-buoyyard--config-sync pre")
    assert boxes.evaluate("box => box.scrollWidth > box.clientWidth")
    assert tab.evaluate(
        "[...document.querySelectorAll('main *:not(pre *)')].every(e => e.getBoundingClientRect().right <= 360)"
    )


def test_a_pair_of_many_troubles_does_not_squeeze_the_sites(opened: Open) -> None:
    lost = replace(RESULT.pairs[4], findings=tuple(replace(UNTOLD, rule=rule.id) for rule in RULES))
    tab = opened(replace(RESULT, pairs=(RESULT.pairs[0], lost)), viewport={"width": 1280, "height": 900})
    row = tab.locator(".fleet tbody tr", has_text="Harbour Quay").bounding_box()
    assert row is not None
    assert row["height"] < 60


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_has_contrast_enough(opened: Open, scheme: str) -> None:
    tab = opened(color_scheme=scheme)
    tab.evaluate("document.querySelectorAll('details').forEach(box => box.open = true)")
    seen, low = tab.evaluate(CONTRAST)
    assert seen > 400
    assert low == []


def test_words_are_told_apart_without_colour(opened: Open) -> None:
    tab = opened()
    shapes = tab.eval_on_selector_all(
        ".verdict, .status",
        "words => words.map(word => [word.className, word.textContent, getComputedStyle(word, '::before').content])",
    )
    by_word = {(kind.split()[0], text): content for kind, text, content in shapes}
    assert len(by_word) == 8
    for kind in ("verdict", "status"):
        contents = [content for (of, _), content in by_word.items() if of == kind]
        assert len(contents) == len(set(contents))
        assert "none" not in contents


def test_without_javascript_everything_is_there(opened: Open) -> None:
    tab = opened(java_script_enabled=False)
    expect(tab.locator("#filters")).to_be_hidden()
    assert len(shown(tab)) == 7
    expect(tab.get_by_text("Installation mode is BUNDLE")).to_be_visible()
    closed = tab.locator("#pair-pontoon--boot-variable")
    closed.locator("summary").click()
    expect(closed.locator("pre")).to_be_visible()
    expect(tab.get_by_text("were only read")).to_be_visible()
    expect(tab.locator("#rule-flash-space")).to_be_visible()


@pytest.mark.parametrize("script", [True, False])
def test_paper_shows_all_findings_and_no_controls(opened: Open, script: bool) -> None:
    tab = opened(java_script_enabled=script)
    tab.emulate_media(media="print")
    expect(tab.locator("#filters")).to_be_hidden()
    for lines in tab.locator("pre").all():
        box = lines.bounding_box()
        assert box is not None
        assert box["height"] > 0
    assert tab.locator("pre:visible").count() == tab.locator("pre").count()
    assert tab.locator("details.finding").first.evaluate("e => getComputedStyle(e).breakInside") == "avoid"


def test_the_keyboard_reaches_everything(opened: Open) -> None:
    tab = opened()
    tab.keyboard.press("Tab")
    skip = tab.locator(":focus")
    assert skip.inner_text() == "Skip to the fleet"
    box = skip.bounding_box()
    assert box is not None
    assert box["x"] >= 0
    assert skip.evaluate("e => getComputedStyle(e).outlineStyle") == "solid"
    tab.keyboard.press("Enter")
    assert tab.locator(":focus").inner_text() == "The fleet"
    tab.get_by_label("Verdict").focus()
    reached = []
    for _ in range(5):
        reached.append(tab.locator(":focus").evaluate("e => e.id || e.textContent"))
        tab.keyboard.press("Tab")
    assert reached == ["by-verdict", "by-rule", "by-text", "Show all", "pontoon"]


def test_it_has_landmarks_and_headings_in_order(opened: Open) -> None:
    tab = opened()
    assert tab.locator("html").get_attribute("lang") == "en"
    for role in ("banner", "search", "main", "contentinfo"):
        assert tab.get_by_role(role).count() == 1
    levels = tab.eval_on_selector_all("h1, h2, h3", "headings => headings.map(heading => Number(heading.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_finding_links_to_why_its_rule_matters(opened: Open) -> None:
    tab = opened()
    assert tab.locator("details.finding .why a").count() == 7 * 13
    assert RULES[6].why in tab.locator("#rule-flash-space").inner_text()
    assert "dir stby-bootflash:" in tab.locator("#rule-flash-space").inner_text()


def test_a_finding_of_an_unlisted_rule_has_no_dead_link() -> None:
    assert "#rule-flash-space" not in page(RESULT, RULES[:3])


def test_a_large_fleet_stays_lean() -> None:
    # Two hundred pairs of thirteen findings: what the markup adds to the words is bounded, whatever the machine.
    assert len(page(fleet_of(200), RULES).encode()) < 2_500_000


def test_a_waiver_is_shown_beside_its_block(opened: Open) -> None:
    short = replace(
        next(found for found in RESULT.pairs[1].findings if found.rule == "flash-space"),
        waiver=replace(WAIVER, who=HOSTILE),
    )
    pair = replace(RESULT.pairs[1], verdict=Verdict.GO, findings=(short,))
    tab = opened(replace(RESULT, pairs=(pair,)), fragment="#pair-pontoon--flash-space")
    finding = tab.locator("#pair-pontoon--flash-space")
    expect(finding.locator("summary")).to_contain_text("block waived flash-space")
    expect(finding.locator(".waiver")).to_contain_text(f"Waived by {HOSTILE} until 2027-03-31: New \\x1bflash")
    expect(tab.locator(".fleet td.rules")).to_have_text("waived: flash-space")
    seen, low = tab.evaluate(CONTRAST)
    assert seen
    assert low == []


def test_what_to_do_comes_in_order_and_findings_lead_there(opened: Open) -> None:
    steps = (
        Step("install-mode", f"Convert {HOSTILE}.", When.IN_A_WINDOW, disruptive=True),
        Step("flash-space", "Clear the flash.", When.ANY_TIME, disruptive=False, after=("install-mode",)),
    )
    tab = opened(replace(RESULT, pairs=(replace(RESULT.pairs[2], steps=steps),)))
    items = tab.locator("ol.steps > li")
    assert items.count() == 2
    expect(items.nth(0)).to_contain_text("install-mode (in a window; may reload a controller or drop clients)")
    expect(items.nth(0)).to_contain_text(f"Convert {HOSTILE}.")
    expect(items.nth(1)).to_contain_text("flash-space (any time)")
    remedy = tab.locator("#pair-slipway--flash-space .remedy")
    expect(remedy).to_have_text("What to do: step 2 of the list above")
    remedy.locator("a").click()
    assert tab.evaluate("document.querySelector(':target').innerText").startswith("flash-space")
    for width in (320, 1200):
        tab.set_viewport_size({"width": width, "height": 800})
        assert tab.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_notes_and_other_weights_stand_at_the_top(opened: Open) -> None:
    tab = opened(replace(RESULT, notes=(f"waivers.yaml: {HOSTILE} has expired.",)))
    expect(tab.locator(".notes li")).to_have_text(f"waivers.yaml: {HOSTILE} has expired.")
    expect(tab.get_by_text("not by default: release-support as caution")).to_be_visible()
    assert opened().locator(".notes").count() == 0


def test_a_members_silence_is_told_once_with_the_rules_that_it_leaves_unknown(opened: Open) -> None:
    tab = opened(UNHEARD)
    expect(
        tab.locator(".facts dd", has_text="not reached: its host key isn't known: run `readypair trust`")
    ).to_be_visible()
    said = "unknown Not known without an answer of lighter-b: install-mode, pair-state"
    expect(tab.locator("#pair-lighter .left-unknown")).to_have_text(said)
    for rule in ("install-mode", "pair-state"):
        assert tab.locator(f"#pair-lighter--{rule}").get_attribute("open") is None
    assert tab.locator("#pair-lighter .steps li").count() == 1
    assert opened().locator(".left-unknown").count() == 0


def test_pairs_that_were_not_reached_in_time_are_counted_and_marked(opened: Open) -> None:
    tab = opened(LATE)
    expect(tab.get_by_text("1 of 8 pairs not reached in time")).to_be_visible()
    expect(tab.locator("[data-pair=pair-tender] .rules")).to_have_text("not reached in time")
    because = "not reached: the sweep's deadline of 45 min came before it was asked"
    expect(tab.locator("#pair-tender .facts dd", has_text=because).first).to_be_visible()
    assert opened().get_by_text("in time").count() == 0
