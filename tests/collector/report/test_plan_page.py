from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from collector.finding import Verdict
from collector.plan.batches import BatchPlan
from collector.planned import PairPlan
from collector.report.plan_page import page, procedure
from collector.report.visible import visible
from tests.collector.report.plan_sample import HOSTILE_PLAN, NARROW, NO_WINDOW, QUAY, TOO_LONG, planned
from tests.collector.report.sample import HOSTILE, STEERING
from tests.collector.report.test_page import CONTRAST

Open = Callable[..., Page]

FIT = planned(QUAY)
ALL = tuple(
    planned(replace(plan, pair=replace(plan.pair, name=name)))
    for name, plan in (("quay", QUAY), ("pontoon", TOO_LONG), ("slipway", NARROW), ("lighter", NO_WINDOW))
)
# Text in a drawing has its colour from `fill`; WCAG 2.2, success criterion 1.4.3, all the same.
DRAWN_CONTRAST = CONTRAST.replace(
    "parse(getComputedStyle(element).color)",
    "parse(element.closest('svg') ? getComputedStyle(element).fill : getComputedStyle(element).color)",
)


def both(plans: Sequence[PairPlan], kind: str) -> str:
    return page(plans, "inventory/demo") if kind == "plan" else procedure(plans)


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Iterator[Open]:
    """Opens a page as a file; whatever it asks for besides itself, or complains of, fails the test."""
    asked: list[str] = []
    complaints: list[str] = []
    contexts = []

    def open_it(*plans: PairPlan, kind: str = "plan", **options: Any) -> Page:
        file = tmp_path / f"{kind}.html"
        file.write_text(both(plans or (FIT,), kind), encoding="utf-8")
        context = browser.new_context(**options)
        contexts.append(context)
        tab = context.new_page()
        tab.on("request", lambda request: asked.append(request.url))
        tab.on("console", lambda message: complaints.append(message.text))
        tab.on("pageerror", lambda error: complaints.append(str(error)))
        tab.goto(file.as_uri())
        return tab

    yield open_it
    for context in contexts:
        context.close()
    assert {url.split("#")[0] for url in asked} <= {
        (tmp_path / f"{kind}.html").as_uri() for kind in ("plan", "procedure")
    }
    assert complaints == []


def left(of: Locator) -> float:
    box = of.bounding_box()
    assert box is not None
    return box["x"]


@pytest.mark.parametrize("kind", ["plan", "procedure"])
def test_it_asks_nobody_for_anything_and_runs_nothing(opened: Open, kind: str) -> None:
    tab = opened(*ALL, kind=kind)
    tab.wait_for_load_state("networkidle")
    policy = tab.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content") or ""
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "script" not in policy
    assert "unsafe" not in policy
    assert tab.locator("script").count() == 0
    assert tab.locator("body").evaluate("e => getComputedStyle(e).maxWidth") != "none"


def test_the_policy_would_stop_a_script(browser: Browser, tmp_path: Path) -> None:
    file = tmp_path / "plan.html"
    file.write_text(page([FIT], "x").replace("</main>", "<script>document.title='in'</script></main>"))
    tab = browser.new_page()
    tab.goto(file.as_uri())
    assert tab.title() == "What the window takes: quay - readypair"
    tab.close()


def test_the_timeline_is_drawn_where_the_times_are(opened: Open) -> None:
    tab = opened(viewport={"width": 1200, "height": 900})
    drawing = tab.locator("svg.drawing")
    box = drawing.bounding_box()
    assert box is not None
    edges = drawing.locator(".edge")
    opens, closes = left(edges.nth(0)), left(edges.nth(1))
    minute = (closes - opens) / 240
    bars = drawing.locator("rect.bar")
    assert bars.count() == 7
    # The sample's stages start so many minutes after the window opens.
    for number, start in enumerate((0, 21, 31, 33, 63, 99, 131)):
        assert abs(left(bars.nth(number)) - (opens + start * minute)) < 3
    halves = drawing.locator(".half")
    assert abs(left(halves.nth(4)) - (opens + 98 * minute)) < 3
    turns = drawing.locator("path.turn")
    assert turns.count() == 6
    # The mark points at its moment: its right end lies there.
    for number, last in ((0, 211), (4, 134), (5, 134)):
        mark = turns.nth(number).bounding_box()
        assert mark is not None
        assert abs(mark["x"] + mark["width"] - (opens + last * minute)) < 3
    assert "01:31 in 9 of 10" in (drawing.locator("title").first.text_content() or "")


def test_the_edges_and_hours_are_written(opened: Open) -> None:
    texts = opened().locator("svg.drawing > text").all_text_contents()
    assert texts == ["23:00", "00:00", "01:00", "02:00", "03:00", "opens 23:00", "closes 03:00"]


def test_every_figure_of_the_drawing_stands_in_the_table_too(opened: Open) -> None:
    rows = opened().locator("table.timeline tbody tr")
    assert rows.count() == 7
    cells = rows.nth(4).locator("td").all_inner_texts()
    assert cells == ["00:03", "00:39", "00:38", "00:52", "01:14", "22 min", "the policy's timings.restart-aps"]
    expect(rows.nth(5).locator("td.late").first).to_have_text("01:14")
    expect(rows.nth(6)).to_contain_text("none")


def test_what_does_not_fit_says_so_at_the_top(opened: Open) -> None:
    tab = opened(planned(TOO_LONG))
    expect(tab.locator("h2")).to_contain_text("too long")
    expect(tab.locator(".head li.late")).to_contain_text("31 min too little for P90")
    expect(tab.locator(".problem").first).to_contain_text("What to do: A window of 151 minutes.")


def test_what_is_not_known_is_told_and_not_drawn(opened: Open) -> None:
    tab = opened(planned(NARROW), planned(replace(NO_WINDOW, pair=replace(NO_WINDOW.pair, name="lighter"))))
    assert tab.locator("#pair-quay rect.bar").count() == 5 + 2  # two stand in the key
    assert tab.locator("#pair-lighter svg").count() == 0
    expect(tab.locator("#pair-quay .timeline tbody tr").nth(5)).to_contain_text("not known")
    expect(tab.locator("#pair-quay")).to_contain_text("Needed: timings.validate in the policy.")
    expect(tab.locator("#pair-lighter .facts")).to_contain_text("none in the inventory")


def test_batches_and_holes_stand_in_tables(opened: Open) -> None:
    tab = opened()
    rounds = tab.locator("table.batches tbody tr")
    assert rounds.nth(0).locator("td").all_inner_texts() == [
        "2",
        "not known",
        "10",
        "Harbour Quay, hall",
        "gate-1, hall-2",
    ]
    holes = tab.locator("table.holes tbody tr")
    expect(holes.nth(0)).to_contain_text("gate-1")
    expect(holes.nth(0).locator(".critical")).to_have_text("critical")
    expect(holes.nth(1)).to_contain_text("nobody knows")


def test_a_large_round_folds_and_paper_unfolds_it(opened: Open) -> None:
    assert QUAY.batches is not None
    names = tuple(f"hall-{number}" for number in range(40))
    large = replace(QUAY, batches=BatchPlan((names,), 1, 1, (), (), (), ()))
    tab = opened(planned(large))
    cell = tab.locator("table.batches td").last
    expect(cell.locator("details span")).to_be_hidden()
    tab.emulate_media(media="print")
    box = tab.locator("table.batches details").evaluate("e => e.getBoundingClientRect().height")
    assert box > 40


def test_all_pairs_lead_to_their_plans(opened: Open) -> None:
    tab = opened(*ALL)
    assert tab.title() == "What the window takes: 4 pairs - readypair"
    hrefs = tab.eval_on_selector_all("a", "links => links.map(link => link.getAttribute('href'))")
    ids = tab.eval_on_selector_all("[id]", "elements => elements.map(element => element.id)")
    assert {href[1:] for href in hrefs} <= set(ids)
    assert len(ids) == len(set(ids))
    assert tab.locator("h2 .standing").all_inner_texts() == ["fits", "too long", "incomplete", "incomplete"]


def test_standings_are_told_apart_without_colour(opened: Open) -> None:
    blocked = planned(replace(QUAY, pair=replace(QUAY.pair, name="gantry")), Verdict.NO_GO)
    tab = opened(*ALL[:3], blocked)
    shapes = tab.eval_on_selector_all(
        "h2 .standing", "words => words.map(word => [word.textContent, getComputedStyle(word, '::before').content])"
    )
    assert [word for word, _ in shapes] == ["fits", "too long", "incomplete", "blocked"]
    # The two that mean no share a shape; their words differ.
    assert len({content for _, content in shapes}) == 3
    assert "none" not in {content for _, content in shapes}


@pytest.mark.parametrize("kind", ["plan", "procedure"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_has_contrast_enough(opened: Open, scheme: str, kind: str) -> None:
    tab = opened(*ALL, kind=kind, color_scheme=scheme)
    seen, low = tab.evaluate(DRAWN_CONTRAST)
    assert seen > 150
    assert low == []


@pytest.mark.parametrize("kind", ["plan", "procedure"])
def test_it_fits_a_phone(opened: Open, kind: str) -> None:
    long = replace(QUAY, pair=replace(QUAY.pair, name="x" * 90, site="y" * 90))
    tab = opened(*ALL, planned(long), kind=kind, viewport={"width": 360, "height": 740})
    for width in (360, 700, 961, 1000):
        tab.set_viewport_size({"width": width, "height": 740})
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
    tab.set_viewport_size({"width": 360, "height": 740})
    # Every word of the drawing stands inside it.
    assert tab.evaluate(
        "[...document.querySelectorAll('svg.drawing')].every(drawing => [...drawing.querySelectorAll('text')].every("
        "text => text.getBoundingClientRect().left >= drawing.getBoundingClientRect().left"
        " && text.getBoundingClientRect().right <= drawing.getBoundingClientRect().right))"
    )


@pytest.mark.parametrize("kind", ["plan", "procedure"])
def test_it_has_landmarks_and_headings_in_order(opened: Open, kind: str) -> None:
    tab = opened(*ALL, kind=kind)
    assert tab.locator("html").get_attribute("lang") == "en"
    for role in ("banner", "main"):
        assert tab.get_by_role(role).count() == 1
    levels = tab.eval_on_selector_all(
        "h1, h2, h3, h4", "headings => headings.map(heading => Number(heading.tagName[1]))"
    )
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


@pytest.mark.parametrize("kind", ["plan", "procedure"])
def test_what_comes_from_outside_is_text(opened: Open, kind: str) -> None:
    tab = opened(planned(HOSTILE_PLAN), kind=kind)
    assert tab.locator("img").count() == 0
    assert tab.locator("script").count() == 0
    text = tab.locator("body").text_content() or ""
    assert HOSTILE in text
    assert visible(STEERING) in text
    assert "\x1b" not in text


def test_the_procedure_has_every_step_in_order_with_its_hold_point(opened: Open) -> None:
    tab = opened(kind="procedure")
    steps = tab.locator("ol.steps > li")
    titles = steps.locator("h4").all_inner_texts()
    assert [title.split(" can drop clients")[0] for title in titles] == [stage.title for stage in QUAY.stages]
    for number, stage in enumerate(QUAY.stages):
        if stage.skipped:
            expect(steps.nth(number)).to_contain_text("Not needed")
            continue
        for each in (*stage.see, *stage.turn_back_when):
            expect(steps.nth(number)).to_contain_text(each)
    expect(steps.nth(6)).to_contain_text("Begin it by 01:50.")
    expect(steps.nth(8)).to_contain_text("That may be before this stage has ended.")
    expect(steps.nth(9)).to_contain_text("Nothing leads back from here")


def test_the_procedure_has_what_belongs_before_the_window_first(opened: Open) -> None:
    stages = tuple(replace(stage, in_window=stage.in_window or stage.id == "expand") for stage in QUAY.stages)
    tab = opened(planned(replace(QUAY, stages=stages)), kind="procedure")
    copying, expanding, loading = (stage.title for stage in stages[:3])
    assert tab.locator("ol.steps > li h4").all_inner_texts()[:3] == [copying, loading, expanding]


def test_the_procedure_lists_each_round_and_its_holes(opened: Open) -> None:
    rounds = opened(kind="procedure").locator("ol.steps > li").nth(7).locator("ul.asks li").all_inner_texts()
    assert rounds == [
        "Round 1: gate-1, hall-2. Leaves a hole at: gate-1 (critical)",
        "Round 2: gate-2, hall-1, hall-3. Leaves a hole at: hall-3",
    ]


def test_the_procedure_names_its_limits_before_anything_else(opened: Open) -> None:
    tab = opened(kind="procedure")
    first = tab.locator("main > *").first
    for words in (
        "This can drop clients",
        "Where lives or safety depend on the network, agree the outage beforehand",
        "The vendor's procedure and the change process rule over this paper",
        "readypair does none of these steps",
    ):
        expect(first).to_contain_text(words)


def test_command_texts_are_the_policys_alone(opened: Open) -> None:
    tab = opened(kind="procedure")
    assert tab.locator("pre").all_inner_texts() == ["activate the new release now\n"]
    expect(tab.locator("ol.steps > li").nth(3)).to_contain_text("By the site's policy, for the person who does it")
    without = tuple(replace(stage, commands=()) for stage in QUAY.stages)
    assert opened(planned(replace(QUAY, stages=without)), kind="procedure").locator("pre").count() == 0


def test_the_procedure_says_what_to_settle_and_to_find_out_first(opened: Open) -> None:
    tab = opened(planned(TOO_LONG), planned(NARROW), kind="procedure")
    expect(tab.locator("section.plan").nth(0)).to_contain_text("Settle first")
    expect(tab.locator("section.plan").nth(0)).to_contain_text("It ends 31 minutes too late.")
    expect(tab.locator("section.plan").nth(1)).to_contain_text("Find out first")


def test_the_procedure_of_a_plan_that_does_not_stand_says_not_to_begin(opened: Open) -> None:
    warnings = [
        opened(planned(plan), kind="procedure").locator("section.plan > p.problem").all_inner_texts()
        for plan in (QUAY, TOO_LONG, NARROW)
    ]
    assert warnings[0] == []
    assert warnings[1][0].startswith("Don't begin: the plan is too long.")
    assert warnings[2][0].startswith("Don't begin: the plan is incomplete.")


def test_the_procedure_tells_how_its_figures_are_meant(opened: Open) -> None:
    text = opened(planned(replace(QUAY, notes=("Expanding may belong first.",))), kind="procedure").inner_text("body")
    assert "Expanding may belong first." in text


def test_on_paper_each_pair_begins_a_sheet_and_no_step_is_torn(opened: Open) -> None:
    tab = opened(*ALL, kind="procedure")
    tab.emulate_media(media="print")
    breaks = tab.eval_on_selector_all("section.plan", "all => all.map(e => getComputedStyle(e).breakBefore)")
    assert breaks == ["auto", "page", "page", "page"]
    assert tab.locator("ol.steps > li").first.evaluate("e => getComputedStyle(e).breakInside") == "avoid"
