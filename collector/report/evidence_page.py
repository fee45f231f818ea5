"""`report.html` of an archive of evidence: `evidence.json` as a page that prints on A4, and needs nothing but itself.

It is made of the data alone, so that whoever has these templates can make it anew and compare.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, TemplateError
from markupsafe import Markup

from collector.comparing.comparison import Kind, Topic
from collector.nights.night import night_of
from collector.report import comparison_wording
from collector.report.templating import digest, environment, own
from collector.report.visible import visible
from collector.report.wording import lines, moment
from collector.watching.wording import bounds, spoken, title

UNSHOWABLE = (TemplateError, TypeError, ValueError, KeyError, AttributeError, IndexError, RecursionError, OverflowError)
"""What `page` raises for data that aren't those of `evidence.json`."""

_TEMPLATE, _STYLE = "evidence.html.jinja", "evidence.css"
_OWN = (
    *(("collector.report", name) for name in (_TEMPLATE, _STYLE, "evidence_page.py", "templating.py", "visible.py")),
    *(("collector.report", name) for name in ("comparison_wording.py", "wording.py")),
    ("collector.comparing", "comparison.py"),
    ("collector.watching", "wording.py"),
    ("collector.plan", "stages.py"),
    ("collector.nights", "night.py"),
)
_SHOWN_NAMES = 400

CAUTIONS = (
    "This archive says what the two controllers printed when they were asked, and what the site's policy makes of it. "
    "It doesn't prove that the service of the site was good all the time: that is for the people on site to say.",
    "Its digests show whether a file was changed since it was made, to whoever noted the SHA-256 of the archive "
    "elsewhere, as in the change ticket. They are no signature: who made it, they don't tell.",
    "The verdicts are those of the time when they were made. The comparison was made with this archive, by the policy "
    "that it holds.",
    "The captures name access points, addresses and networks of the site. Secrets were taken out where they look like "
    "such; look through it before it leaves the site.",
)

_STATUSES = ("block", "unknown", "caution", "pass", "not-applicable")
_SOURCES = {
    "baseline": "a baseline",
    "compare": "a comparison",
    "sweep": "a sweep",
    "check": "a check",
    "replay": "a replay of captures",
    "demo": "the demo",
}
_PLANS = {
    "watch": "The plan is the one that the watch made when it began.",
    "anew": "Nobody kept a plan of that night: this one was computed for this archive, from the captures of before, "
    "the policy and the recorded durations as they are now.",
}


def page(told: Mapping[str, Any], sha256: str) -> str:
    """The whole text of the page; `told` is `evidence.json`, and `sha256` its digest. Raises UNSHOWABLE."""
    style = own(_STYLE) + _margins(told, sha256)
    found = _environment().get_template(_TEMPLATE)
    return found.render(told=told, sha256=sha256, style=style, style_hash=digest(style))


@cache
def template_digest() -> str:
    """The SHA-256 of all that makes a page of the data, so that another one can tell whether it would make the same."""
    taken = hashlib.sha256()
    for package, name in _OWN:
        taken.update(resources.files(package).joinpath(name).read_bytes().replace(b"\r\n", b"\n"))
    return taken.hexdigest()


@cache
def _environment() -> Environment:
    return environment(
        CAUTIONS=CAUTIONS,
        SOURCES=_SOURCES,
        PLANS=_PLANS,
        when=_when,
        at=_at,
        span=_span,
        minutes=_minutes,
        took=_took,
        title=title,
        lines=lines,
        zip=zip,
        worst_first=_worst_first,
        grouped=_grouped,
        topic=lambda value: comparison_wording.topic(Topic(value)),
        is_trouble=lambda status: status in _STATUSES[:3],
        names=_names,
        sized=lambda number: f"{number:,}",
        kept=_kept,
        sides=_sides,
        polls=_polls,
        other_night=_other_night,
    )


def _margins(told: Mapping[str, Any], sha256: str) -> Markup:
    """What stands at the edges of every printed page."""
    head = f"{told['pair']}, {told['site']}, to {told['target_release']}"
    made = (
        f"@page {{ @top-left {{ content: {_text(head)}; }} @top-right {{ content: {_text(told['date'])}; }}"
        f" @bottom-left {{ content: {_text('evidence.json SHA-256 ' + sha256)}; }} }}\n"
    )
    return Markup(made)  # noqa: S704 - nothing of it but hexadecimals is from outside


def _text(words: str) -> str:
    """A string of CSS, in which nothing but letters and figures stands as it is."""
    shown = visible(str(words))[:120]
    return '"' + re.sub(r"[^A-Za-z0-9]", lambda found: f"\\{ord(found[0]):06x}", shown) + '"'


def _when(text: str | None) -> str:
    return "not known" if text is None else moment(datetime.fromisoformat(text))


def _at(text: str) -> str:
    return f"{datetime.fromisoformat(text):%H:%M:%S}"


def _span(ends: Sequence[str | None] | None) -> str:
    """Between which polls something happened."""
    if ends is None:
        return "goes on"
    first, second = ends
    if second is None:
        return "not known"
    last = f"{datetime.fromisoformat(second):%H:%M}"
    if first is None:
        return f"by {last}"
    begin = f"{datetime.fromisoformat(first):%H:%M}"
    return last if begin == last else f"{begin} to {last}"


def _other_night(told: Mapping[str, Any]) -> str:
    """The night that the plan was made for, where that isn't the night that was watched; empty where it is."""
    if told["plan"] is None or told["watch"] is None:
        return ""
    times = [told["plan"]["begin"], *(row["start"] for row in told["plan"]["stages"])]
    first = min((datetime.fromisoformat(each) for each in times if each is not None), default=None)
    watched = datetime.fromisoformat(told["watch"]["started"])
    # A watch may begin in the morning before its window.
    if first is None or abs(first - watched) <= timedelta(hours=18) or night_of(first) == night_of(watched):
        return ""
    return night_of(first).isoformat()


def _minutes(seconds: float | None) -> str:
    return "not known" if seconds is None else spoken(seconds)


def _took(row: Mapping[str, Any]) -> str:
    least, most = row["shortest_seconds"], row["longest_seconds"]
    if least is None:
        return "not known" if row["ended"] is not None else "goes on"
    return bounds(least, most) if most is not None else f"{spoken(least)} or more"


def _worst_first(findings: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return sorted(findings, key=lambda each: _STATUSES.index(each["status"]))


def _grouped(differences: Sequence[Mapping[str, Any]]) -> list[tuple[str, str, list[Mapping[str, Any]]]]:
    groups = [(kind, [each for each in differences if each["kind"] == kind.value]) for kind in Kind]
    return [(kind.value, comparison_wording.HEADINGS[kind], group) for kind, group in groups if group]


def _names(names: Sequence[str]) -> str:
    """The names, up to as many as somebody reads on paper: `evidence.json` has them all."""
    more = len(names) - _SHOWN_NAMES
    return ", ".join(names[:_SHOWN_NAMES]) + (f" and {more:,} more, all in evidence.json" if more > 0 else "")


def _sides(captures: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The captures of before and after."""
    return [each for each in captures if each["part"] in ("before", "after")]


def _polls(captures: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Those of the watch's polls."""
    return [each for each in captures if each["part"] not in ("before", "after")]


def _kept(file: Mapping[str, Any]) -> str:
    """What became of a file of the inventory."""
    if file["looks_secret"]:
        return "not copied, and without its digest: a line of it looks like a secret"
    return "copied into this archive" if file["copied"] else "not copied: it is about other pairs, too"
