"""A comparison as a part of a page: `{% import "comparison_parts.html.jinja" as parts with context %}`."""

from __future__ import annotations

from typing import Any

from collector.comparing.comparison import Comparison
from collector.report import comparison_wording
from collector.report.templating import environment
from collector.report.wording import lines


def known() -> dict[str, Any]:
    """What `comparison_parts.html.jinja` calls by name: for the environment of every page that shows a comparison."""
    return {"comparing": comparison_wording, "lines": lines}


def part(found: Comparison) -> str:
    """The comparison as HTML without a page around it; everything from outside is escaped and made visible."""
    source = '{% import "comparison_parts.html.jinja" as parts with context %}{{ parts.comparison(found) }}'
    return environment(**known()).from_string(source).render(found=found)
