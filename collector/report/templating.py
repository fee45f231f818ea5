"""How the pages are made: everything from outside is escaped after `visible` has spelled out what can't be seen."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from collector.report.visible import visible


def environment(**known: Any) -> Environment:
    """The template engine of one page, with what its templates may call by name."""
    found = Environment(
        loader=PackageLoader("collector.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )
    found.globals.update(known)
    return found


def own(*names: str) -> Markup:
    """Files of our own that stand in a page as they are: its style, its script."""
    folder = resources.files("collector.report")
    texts = (folder.joinpath(name).read_text(encoding="utf-8").replace("\r\n", "\n") for name in names)
    return Markup("".join(texts))  # noqa: S704 - our own files


def digest(text: str) -> str:
    """The source expression by which a page's Content Security Policy lets exactly this text of the page in."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _finalize(value: Any) -> Any:
    return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value
