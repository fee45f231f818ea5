"""What the active member of a played upgrade prints of its access points, which leave and return in batches."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import partial

from collector.played_recording import MAC, Asked, printed
from collector.played_upgrade import LEAD, Batch
from collector.simulated_shell import later

_IMAGE = r"\d+(?:\.\d+){2,4}"
_EVERY_LOST = 3
_LOADS = {"5ghz": "show ap dot11 5ghz load-info", "24ghz": "show ap dot11 24ghz load-info"}
_RADIOS = ("show ap dot11 5ghz summary", "show ap dot11 24ghz summary")
_NO_VERSION = "0.0.0.0"  # noqa: S104


@dataclass(frozen=True)
class _Present:
    """An access point as the scene has it."""

    here: bool
    on_target: bool
    has_clients: bool
    lost: bool


def _presence(asked: Asked) -> dict[str, _Present]:
    """Every access point that was recorded as registered, by its name."""
    names, batches = asked.recorded.access_points, asked.scene.batches
    return {name: _present(batches[place * len(batches) // len(names)], place) for name, place in names.items()}


def _present(batch: Batch, place: int) -> _Present:
    lost = batch.here and batch.lost and place % _EVERY_LOST == _EVERY_LOST - 1
    return _Present(batch.here and not lost, batch.on_target and not lost, batch.has_clients, lost)


def _leading(text: str, names: Collection[str]) -> str | None:
    """The name that a text begins with, the longest of those that it may be; names may hold blanks."""
    text = text.lstrip()
    found = [text[: blank.start()] for blank in re.finditer(r"[ \t]|$", text) if text[: blank.start()] in names]
    return found[-1] if found else None


def _counted(text: str, rows: int, aps: int) -> str:
    """A table with other figures of what it counts: access points, or its rows."""
    return re.sub(
        r"(?m)^([ \t]*(?:Total )?[Nn]umber of ([A-Za-z']+)[ \t]*:[ \t]*)\d+",
        lambda found: f"{found[1]}{aps if found[2].startswith('AP') else rows}",
        text,
        count=1,
    )


def _of_those_here(asked: Asked, command: str, edit: Callable[[str, _Present], str] = lambda row, _: row) -> str:
    """A table with a row or more for each access point, by name, without those that are away."""
    aps, kept, rows, listed = _presence(asked), [], 0, set()
    for line in _of_then(asked, command).splitlines(keepends=True):
        name = _leading(line, aps)
        if name is None:
            kept.append(line)
        elif aps[name].here:
            kept.append(edit(line, aps[name]))
            rows += 1
            listed.add(name)
    return _counted("".join(kept), rows, len(listed))


def _of_then(asked: Asked, command: str) -> str:
    """What the active one of then told, with its clocks moved: only active ones tell of access points."""
    return later(asked.recorded.texts[LEAD][command], asked.since_recorded)


_IMAGE_ROW = re.compile(
    rf"(?m)^[ \t]*(?P<name>\S.*?)[ \t]+(?P<primary>{_IMAGE})[ \t]+(?P<backup>\S+)[ \t]+(?P<status>\S+(?: \S+)*)"
    r"[ \t]{2,}(?P<version>\S+)[ \t]+(?P<retry>\S+)[ \t]+(?P<retries>\d+)[ \t]+(?P<method>\S+)[ \t]*\r?$"
)
_COUNTED_AS = {
    "Initiated": "Initiated",
    "Downloading": "Downloading",
    "Predownloading": "Predownloading",
    "Completed downloading": "Downloaded",
    "Completed predownloading": "Complete",
    "Not Supported": "Unsupported",
    "Failed to Predownload": "Failed",
}


def _ap_image(asked: Asked) -> str:
    """The table anew: who has restarted runs what it held in reserve, and holds in reserve what it ran."""
    aps, rows, statuses = _presence(asked), [], []
    for found in _IMAGE_ROW.finditer(_of_then(asked, "show ap image")):
        row = found.groupdict()
        now = aps.get(row["name"])
        if now is not None and not now.here:
            continue
        if now is not None and now.on_target:
            build = row["primary"].split(".")[3:]
            target = ".".join([*re.findall(r"\d+", asked.upgrade.target)[:3], *build])
            row |= {"primary": target, "backup": row["primary"], "status": "None", "version": _NO_VERSION}
            row |= {"retry": "N/A", "retries": "0", "method": "N/A"}
        statuses.append(row["status"])
        rows.append(_image_row(**row))
    heading = _image_row(
        "AP Name",
        "Primary Image",
        "Backup Image",
        "Predownload Status",
        "Predownload Version",
        "Next Retry Time",
        "Retry Count",
        "Method",
    )
    return printed(
        f"Total number of APs  : {len(rows)}",
        "",
        "Number of APs",
        *(f"        {label:<27}: {statuses.count(status)}" for label, status in _COUNTED_AS.items()),
        "",
        heading,
        "-" * 150,
        *rows,
        "",
    )


def _image_row(
    name: str, primary: str, backup: str, status: str, version: str, retry: str, retries: str, method: str
) -> str:
    return f"{name:<32} {primary:<16} {backup:<16} {status:<20} {version:<20} {retry:<16} {retries:<12} {method}"


def _joins(asked: Asked) -> str:
    """The join summary: who is away isn't joined, and the table says why."""
    aps, lines = _presence(asked), []
    for line in _of_then(asked, "show wireless stats ap join summary").splitlines(keepends=True):
        macs = re.match(rf"[ \t]*{MAC}[ \t]+(?:{MAC}|N/?A|-+)[ \t]+", line)
        name = _leading(line[macs.end() :], aps) if macs else None
        if name is None or aps[name].here:
            lines.append(line)
            continue
        reason = ("Dtls", "Max retransmission to AP") if aps[name].lost else ("NA", "AP reload for image activation")
        away = f"{'Not Joined':<13}{reason[0]:<21}{reason[1]}"
        lines.append(re.sub(r"(?<=[ \t])Joined[ \t]+\S+[ \t]+\S.*?(?=[ \t]*\r?$)", away, line))
    return "".join(lines)


def _neighbours(asked: Asked) -> str:
    """The neighbour reports of those that are here, of those that are here."""
    aps, kept, rows, listed = _presence(asked), [], 0, set()
    for line in _of_then(asked, "show ap neighbor summary").splitlines(keepends=True):
        name = _leading(line, aps)
        if name is not None:
            slot = re.match(r"[ \t]+\d+[ \t]+", line.lstrip()[len(name) :])
            heard = _leading(line.lstrip()[len(name) + slot.end() :], aps) if slot else None
            if not all(aps[each].here for each in (name, heard) if each is not None):
                continue
            rows += 1
            listed.add(name)
        kept.append(line)
    return _counted("".join(kept), rows, len(listed))


def _with_clients(row: str, ap: _Present) -> str:
    """A radio's row; who has just come back has no clients yet."""
    return row if ap.has_clients else re.sub(r"\d+([ \t]*\r?\n?)$", r"0\1", row)


def _wireless(asked: Asked) -> str:
    """The totals, less the radios of those that are away and their clients, and the clients that aren't back yet."""
    aps = _presence(asked)
    gone = {band: _radios(asked, command, lambda ap: not ap.here) for band, command in _LOADS.items()}
    lonely = [_radios(asked, command, lambda ap: not (ap.here and ap.has_clients)) for command in _LOADS.values()]
    away = sum(not ap.here for ap in aps.values())
    text = _of_then(asked, "show wireless summary")
    for row, fewer in ((r"\S+ 2\.4 ?GHz", len(gone["24ghz"])), (r"\S+ 5 ?GHz", len(gone["5ghz"])), ("All APs", away)):
        text = re.sub(rf"(?m)^([ \t]*{row}[ \t]+)(\d+)([ \t]+)(\d+)(?=[ \t]+\d)", partial(_less, fewer), text)
    clients = sum(sum(each) for each in lonely)
    return re.sub(r"(?m)^([ \t]*(?:Current|Local) Clients[ \t]*:[ \t]*)(\d+)", partial(_less, clients), text)


def _less(fewer: int, row: re.Match[str]) -> str:
    """A row whose figures, each behind what stands before it, are so much less; they stay in their columns."""
    cells = row.groups()
    pairs = zip(cells[::2], cells[1::2], strict=True)
    return "".join(f"{before}{int(figure) - fewer:<{len(figure)}}" for before, figure in pairs)


def _radios(asked: Asked, command: str, which: Callable[[_Present], bool]) -> list[int]:
    """The recorded clients of each radio, by its table of loads, of the access points that are such."""
    aps, found = _presence(asked), []
    for line in asked.recorded.texts[LEAD].get(command, "").splitlines():
        name, clients = _leading(line, aps), re.search(r"(\d+)[ \t]*$", line)
        if name is not None and clients is not None and which(aps[name]):
            found.append(int(clients[1]))
    return found


PRINTERS: Mapping[str, Callable[[Asked], str]] = {
    "show ap summary": partial(_of_those_here, command="show ap summary"),
    "show ap image": _ap_image,
    "show wireless stats ap join summary": _joins,
    "show ap neighbor summary": _neighbours,
    "show wireless summary": _wireless,
    **{command: partial(_of_those_here, command=command) for command in _RADIOS},
    **{command: partial(_of_those_here, command=command, edit=_with_clients) for command in _LOADS.values()},
}
