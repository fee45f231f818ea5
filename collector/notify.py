"""Delivers a message to receivers by their URLs, and lets nothing of a URL but its scheme and host get out."""

from __future__ import annotations

import logging
import re
import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from apprise import AppriseAsset, NotifyBase


# A user and the beginning of a password; a number after a host is its port.
_BEGUN = re.compile(r"[^:@\[]*:(?!\d+$)[^@]*")
# A query's values, which may be addresses of mail.
_VALUES = re.compile(r"(?<=[?&])[A-Za-z_]+=[^&#/?]*")


class NotifyError(ValueError):
    """A URL is of no use; the message is one sentence that says which and shows none of its secrets."""


class Tone(StrEnum):
    """What a receiver may colour a message by, in the library's own words."""

    WORSE = "warning"
    BETTER = "success"
    NEITHER = "info"


@dataclass(frozen=True)
class Message:
    """What is told, in plain text."""

    subject: str
    body: str
    tone: Tone = Tone.NEITHER


@dataclass(frozen=True)
class Receiver:
    """Somebody who can be told; `shown` names them without a secret."""

    shown: str
    service: NotifyBase


def receivers(urls: Sequence[str]) -> list[Receiver]:
    """The receivers at these URLs; NotifyError where one isn't a URL that messages can be sent to."""
    with _silence():
        return [_receiver(url, f"number {n} of {len(urls)}") for n, url in enumerate(urls, start=1)]


def deliver(message: Message, to: Sequence[Receiver]) -> list[Receiver]:
    """Send the message to every receiver, one after the other; returns those that didn't take it."""
    with _silence():
        return [receiver for receiver in to if not _delivered(message, receiver)]


def _receiver(url: str, number: str) -> Receiver:
    from apprise import Apprise

    scheme = _scheme(url)
    which = f"--notify: receiver {number}" + (f" ({scheme}://…)" if scheme else "")
    authority, rest = _split(url)
    if authority.count("@") > 1:
        # The library would take what follows the first one for the host, which is shown.
        raise NotifyError(f"{which} has more than one @ before its path; write @ in a user's name or password as %40")
    try:
        service = Apprise.instantiate(url, asset=_asset())
    except Exception:
        # Its message may quote the URL.
        service = None
    if service is None:
        advice = "see the library apprise for those that it knows"
        if "@" in rest and _BEGUN.fullmatch(authority):
            advice = "write /, ? and # in a password as %2F, %3F and %23"
        raise NotifyError(f"{which} has no URL that messages can be sent to; {advice}")
    return Receiver(_shown(url, service, number), service)


def _asset() -> AppriseAsset:
    from apprise import AppriseAsset

    # In readypair's name, with no picture from elsewhere, nothing kept on the disk, and in this thread.
    return AppriseAsset(
        app_id="readypair",
        app_desc="readypair",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        storage_mode="memory",
        async_mode=False,
    )


def _delivered(message: Message, receiver: Receiver) -> bool:
    from apprise import Apprise, NotifyFormat, NotifyType

    try:
        return bool(
            Apprise([receiver.service], asset=receiver.service.asset).notify(
                title=message.subject,
                body=message.body,
                notify_type=NotifyType(message.tone.value),
                body_format=NotifyFormat.TEXT,
            )
        )
    except Exception:
        # Whatever a service's plugin raises, the other receivers are told and the sweep's verdicts stand.
        return False


def _shown(url: str, service: NotifyBase, number: str) -> str:
    """The scheme and the host, where the URL has one: of many services the same place holds a token."""
    scheme = _scheme(url) or "URL"
    authority, rest = _split(url)
    if "@" in authority and "@" in _VALUES.sub("", rest):
        # The first one may be of a password with a raw /, ? or # behind it.
        host = None
    elif scheme in ("http", "https"):
        host = urlsplit(url).hostname
    else:
        host = getattr(service, "host", None) if _has_host(service) else None
    return f"{scheme}://{host}" if isinstance(host, str) and host else f"{scheme}, receiver {number}"


def _has_host(service: NotifyBase) -> bool:
    """Whether every URL of the service has a host where others have a token."""
    templates: tuple[str, ...] = service.templates
    token = service.template_tokens.get("host")
    return token is not None and not token.get("private") and all("{host}" in template for template in templates)


def _split(url: str) -> tuple[str, str]:
    """What stands between the scheme and the path, the query or the fragment, and what follows."""
    left = url.partition("://")[2]
    end = re.search(r"[/?#]", left)
    return (left[: end.start()], left[end.start() :]) if end else (left, "")


def _scheme(url: str) -> str | None:
    found = re.match(r"\s*([A-Za-z][A-Za-z0-9+.-]{0,30})://", url)
    return found[1].lower() if found else None


@contextmanager
def _silence() -> Iterator[None]:
    """Let no logger and no warning speak: the library and those below it name whole URLs, at some level or other."""
    before = logging.root.manager.disable
    logging.disable(sys.maxsize)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logging.disable(before)
