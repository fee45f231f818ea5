"""`plan.html` and `procedure.html`: plans, and what a person does by them, as pages that need nothing besides."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from jinja2 import Environment
from markupsafe import Markup, escape

from collector.campaigning import CampaignPlan
from collector.planned import PairPlan
from collector.report import plan_wording as words
from collector.report import wording
from collector.report.page import anchors
from collector.report.plan_drawing import draw
from collector.report.templating import digest, environment, own
from collector.report.visible import visible


def page(plans: Sequence[PairPlan], inventory: str, campaign: CampaignPlan | None = None) -> str:
    """The whole text of `plan.html`. It holds no script: it reads and prints the same everywhere."""
    title = _title("What the window takes", plans)
    return _render("plan.html.jinja", title, plans, inventory=inventory, campaign=campaign)


def procedure(plans: Sequence[PairPlan]) -> str:
    """The whole text of `procedure.html`: the ordered steps for a person, each with its hold point; to be printed."""
    return _render("procedure.html.jinja", _title("Procedure", plans), plans)


def _title(what: str, plans: Sequence[PairPlan]) -> str:
    return f"{what}: {plans[0].plan.pair.name if len(plans) == 1 else wording.number_of(len(plans), 'pair')}"


def _render(template: str, title: str, plans: Sequence[PairPlan], **more: object) -> str:
    style = own("page.css", "plan.css")
    named = list(zip(anchors(each.plan.pair.name for each in plans), plans, strict=True))
    more["anchors"] = {each.plan.pair.name: anchor for anchor, each in named}
    found = _environment().get_template(template)
    return found.render(title=title, plans=named, style=style, style_hash=digest(style), **more)


@cache
def _environment() -> Environment:
    return environment(words=words, wording=wording, draw=draw, coded=_coded)


def _coded(text: str) -> Markup:
    """A sentence with what stands between backticks as code."""
    parts = [escape(visible(part)) for part in text.split("`")]
    if len(parts) % 2 == 0:
        return escape(visible(text))
    return Markup("").join(Markup("<code>{}</code>").format(part) if at % 2 else part for at, part in enumerate(parts))
