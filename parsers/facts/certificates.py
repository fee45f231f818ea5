"""Facts about the certificate that access points join with."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import Self

from parsers import printed_time
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches


@dataclass(frozen=True, kw_only=True)
class Trustpoint(Facts):
    """`show wireless management trustpoint`. The availabilities are True only where it says `Available`."""

    name: str | None = None
    certificate_available: bool | None = None
    certificate_type: str | None = None
    private_key_available: bool | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line is one of the answer's; of an unconfigured trustpoint every field is None."""
        told = Agreement(matches)
        if not matches.found:
            raise Unreadable("it tells nothing of a trustpoint")
        return cls(
            name=told.text("name", "name"),
            certificate_available=told.value("certificate_available", matches.of("certificate"), _is_available),
            certificate_type=told.text("certificate_type", "type"),
            private_key_available=told.value("private_key_available", matches.of("private_key"), _is_available),
            at=told.at,
        )


def _is_available(match: Match) -> bool | None:
    said = " ".join(match["value"].split()).lower()
    return {"available": True, "not available": False}.get(said)


@dataclass(frozen=True, kw_only=True)
class Certificate:
    """One certificate; `kind` is `certificate` or `ca`; times as shown, without their zone; `at` are its lines.

    `subject` and `issuer` are their lines, joined by commas.
    """

    kind: str
    status: str | None = None
    serial: str | None = None
    subject: str | None = None
    issuer: str | None = None
    start: datetime | None = None
    end: datetime | None = None
    trustpoints: tuple[str, ...] = ()
    at: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Certificates(Facts):
    """`show crypto pki certificates`."""

    certificates: tuple[Certificate, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Every certificate; Unreadable where a field stands under none or twice under one: a heading is missing."""
        by_number = {match.at: match for match in matches.found if match.kind == "line"}
        by_number.update({match.at: match for match in matches.found if match.kind != "line"})
        blocks: list[_Block] = []
        for number in matches.transcript.kept:
            match = by_number.get(number)
            if match is not None and match.kind == "title":
                blocks.append(_Block(match["title"], [number]))
            elif not blocks:
                raise Unreadable(f"line {number} stands under no certificate")
            else:
                blocks[-1].take(number, match)
        at = {"certificates": tuple(number for block in blocks for number in block.lines)}
        return cls(certificates=tuple(block.certificate() for block in blocks), at=at)


# What can stand in a name, and what can't be told from a key that was spoilt.
_NAME_LINE = re.compile(r"[A-Za-z0-9.]{1,40}[ \t]*=.*|[A-Z][A-Za-z ]{0,30}:[ \t]*\S.*")
_TRUSTPOINT_LINE = re.compile(r"[^\s:=~]+(?:[ \t]+[^\s:=~]+)*")
_SEVERAL_LINES = {"issuer": _NAME_LINE, "subject": _NAME_LINE, "trustpoints": _TRUSTPOINT_LINE}


@dataclass
class _Block:
    """One certificate while it is being read; `texts` holds the lines of each field, `open` the field that goes on."""

    title: str
    lines: list[int]
    texts: dict[str, list[str]] = field(default_factory=dict)
    open: str = ""

    def take(self, number: int, match: Match | None) -> None:
        self.lines.append(number)
        if match is None or match.kind == "line":
            self._go_on(match["text"] if match else "")
            return
        self.open = match.kind
        if match.kind == "other":
            return
        if match.kind in self.texts:
            raise Unreadable(f"line {number} tells the {match.kind} of a certificate twice: a heading is missing")
        self.texts[match.kind] = [text] if (text := (match.get("value") or "").strip()) else []

    def certificate(self) -> Certificate:
        return Certificate(
            kind="ca" if "CA" in self.title.split() else "certificate",
            status=self._text("status"),
            serial=self._text("serial"),
            subject=self._text("subject"),
            issuer=self._text("issuer"),
            start=self._time("start"),
            end=self._time("end"),
            trustpoints=tuple(word for text in self.texts.get("trustpoints", []) for word in text.split()),
            at=tuple(self.lines),
        )

    def _go_on(self, text: str) -> None:
        shape = _SEVERAL_LINES.get(self.open)
        if shape is not None and shape.fullmatch(text):
            self.texts[self.open].append(text.strip())
        else:
            self.open = ""

    def _text(self, name: str) -> str | None:
        return ", ".join(self.texts.get(name, [])) or None

    def _time(self, name: str) -> datetime | None:
        printed = printed_time.parse(self._text(name) or "")
        return printed.time if printed else None
