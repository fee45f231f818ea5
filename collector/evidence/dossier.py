"""Puts the evidence of a window together out of the store and the inventory: `evidence.json`, and the files beside it.

Everything comes from what is stored and from the inventory, nothing from this machine's clock, zone or name, so that
the same inputs give the same files.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo
from importlib.metadata import version
from typing import Any

from collector import sides
from collector.blanking import blanked, without
from collector.capture import Capture, Ending
from collector.comparing.comparison import Comparison
from collector.comparing.making import compare
from collector.evidence.archive import as_json, digest, safe_name
from collector.evidence.choosing import Chosen, asked
from collector.judging import aimed_at, snapshot_of
from collector.nights.night import Source, night_of
from collector.plan.making import make
from collector.plan.stages import History
from collector.plan.times import zone_of
from collector.report import comparison_document
from collector.report.visible import encodable, encodable_data
from collector.report.wording import iso
from collector.snapshot import Snapshot
from collector.store.store import Store, StoredJudgement, StoredWatch
from collector.watching import stage_log
from collector.watching.course import course_of
from collector.watching.following import replay
from collector.watching.sighting import Course, Sighting, plain, restored_state
from inventory.opening import Fleet
from inventory.pairs import Pair
from inventory.waivers import Waiver
from parsers import catalogue, transcript

SCHEMA = 1


@dataclass(frozen=True)
class SiteFile:
    """A file of the inventory: its name, and what stands in it; None where there is no such file."""

    name: str
    data: bytes | None


@dataclass(frozen=True)
class Inputs:
    """What goes into the evidence besides the store.

    `files` are the inventory's, of which those named in `copied` may be copied; `secrets` are what is known to be one.
    """

    fleet: Fleet
    pair: Pair
    history: History
    files: Sequence[SiteFile]
    secrets: Sequence[str] = field(default=(), repr=False)


COPIED = ("policy.yaml", "waivers.yaml")


@dataclass(frozen=True)
class Dossier:
    """What an archive is made of: its folder, `evidence.json` as data, all other files, and the moment they bear."""

    folder: str
    document: Mapping[str, Any]
    files: Mapping[str, bytes]
    moment: datetime


def gather(store: Store, inputs: Inputs, chosen: Chosen) -> Dossier:
    """The evidence of the chosen window; StoreError where the store fails."""
    gathering = _Gathering(store, inputs, chosen)
    return gathering.dossier()


class _Captures:
    """The captures that go into the archive, each once, without their secrets."""

    def __init__(self, secrets: Sequence[str], zone: tzinfo) -> None:
        self._secrets = secrets
        self._zone = zone
        self._known: dict[str, dict[tuple[str, str], Capture]] = {}
        self._cited: dict[str, tuple[str, Capture]] = {}
        self.values: set[str] = set(secrets)
        """What was found to be a secret in any of them."""

    def know(self, part: str, captures: Mapping[str, Sequence[Capture]]) -> None:
        """Take in the captures of a part; only those that are cited go into the archive."""
        self._known[part] = {(each.member, each.command): each for own in captures.values() for each in own}

    def look_through(self, part: str) -> None:
        """Look for secrets in all captures of a part: a sentence may tell of one that isn't cited."""
        for each in self._known[part].values():
            self.values |= blanked(each, self._secrets).values

    def cited(self, part: str, evidence: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
        """The evidence, each item with the file that it stands in; None where its capture isn't there."""
        return [{**each, "file": self._file(part, each)} for each in evidence]

    def _file(self, part: str, item: Mapping[str, Any]) -> str | None:
        capture = self._known.get(part, {}).get((item["member"], item["command"]))
        if capture is None or capture.ending is Ending.MISSING:
            return None
        printed = transcript.split(capture.text)
        cited = zip(item["numbers"], item["lines"], strict=True)
        if not all(0 < number <= len(printed) and encodable(printed[number - 1]) == line for number, line in cited):
            return None
        name = f"captures/{part}/{safe_name(capture.member)}/{catalogue.slug(capture.command)}.txt"
        if name not in self._cited:
            self._cited[name] = part, capture
            self.values |= blanked(capture, self._secrets).values
        return name

    def finished(self) -> tuple[dict[str, bytes], list[dict[str, Any]]]:
        """The files, and what is known of each; what one of them told to be a secret stands in none of them."""
        files, rows = {}, []
        for name, (part, capture) in sorted(self._cited.items()):
            changed = blanked(capture, self._secrets, self.values)
            files[name] = changed.capture.text.encode("utf-8", "surrogateescape")
            rows.append(self._row(name, part, changed.capture, files[name], changed.lines))
        return files, rows

    def _row(self, name: str, part: str, capture: Capture, data: bytes, changed: int) -> dict[str, Any]:
        return {
            "file": name,
            "part": part,
            "member": capture.member,
            "command": capture.command,
            "started": _moment(capture.started, self._zone),
            "seconds": capture.seconds,
            "ending": capture.ending.value,
            "reason": capture.reason,
            "bytes": len(data),
            "sha256": digest(data),
            "lines_changed": changed,
        }


class _Gathering:
    """The evidence of one window as it comes together."""

    def __init__(self, store: Store, inputs: Inputs, chosen: Chosen) -> None:
        self._store = store
        self._inputs = inputs
        self._chosen = chosen
        target = _target(inputs.pair, chosen)
        self._pair = aimed_at(inputs.pair, target)
        self._zone, self._zone_name = zone_of(inputs.pair)
        self._captures = _Captures(inputs.secrets, self._zone)
        self._missing: list[str] = []

    def dossier(self) -> Dossier:
        before, after = self._snapshot("before", self._chosen.before), self._snapshot("after", self._chosen.after)
        pair, fleet = self._pair, self._inputs.fleet
        watched, course = self._watched()
        told = {
            "schema": SCHEMA,
            "tool": "readypair",
            "pair": pair.name,
            "site": pair.site,
            "target_release": pair.target_release,
            "zone": self._zone_name,
            "date": night_of(self._local(self._date())).isoformat(),
            "versions": {"readypair": version("readypair")},
            "before": self._side("before", self._chosen.before),
            "after": self._side("after", self._chosen.after),
            "comparison": self._comparison(before, after),
            "watch": watched,
            "plan": self._plan(course, before),
            "policy": {"effective": fleet.policy.model_dump(mode="json")},
            "waivers": [_waiver(each) for each in fleet.waivers if each.matches(pair.name)],
            "inventory": _of_the_pair(pair),
            "files": self._site_files(),
            "missing": self._missing,
        }
        files, told["captures"] = self._captures.finished()
        # A sentence may repeat what a line said.
        clean = _relined(without(encodable_data(told), self._captures.values), files)
        folder = f"evidence-{safe_name(pair.name)}-{told['date']}"
        return Dossier(folder, clean, files | self._copies(), self._moment())

    def _snapshot(self, part: str, judgement: StoredJudgement | None) -> Snapshot | None:
        if judgement is None:
            return None
        captures = self._store.captures(judgement.number)
        self._captures.know(part, captures)
        self._captures.look_through(part)
        return snapshot_of(self._pair, captures, judgement.judged)

    def _side(self, part: str, judgement: StoredJudgement | None) -> dict[str, Any] | None:
        report = self._store.report(judgement.number) if judgement is not None else None
        if judgement is None or report is None:
            self._missing.append(_NO_SIDE[part])
            return None
        if part == "before" and judgement.source is not Source.BASELINE:
            self._missing.append(_NO_BASELINE)
        findings = [
            {**each, "evidence": self._captures.cited(part, each["evidence"])} for each in report.get("findings", ())
        ]
        return {
            "number": judgement.number,
            "source": judgement.source.value,
            "asked": _moment(judgement.asked, self._zone),
            "judged": _moment(judgement.judged, self._zone),
            "verdict": judgement.verdict.value,
            "target_release": judgement.target_release,
            "report": {**report, "findings": findings},
        }

    def _comparison(self, before: Snapshot | None, after: Snapshot | None) -> dict[str, Any] | None:
        if before is None or after is None or self._chosen.before is None or self._chosen.after is None:
            self._missing.append("Nothing was compared: that takes a side before and a side after.")
            return None
        counts = sides.counts(self._store, self._pair, asked(self._chosen.before))
        found = compare(before, after, self._inputs.fleet.policy, self._pair.target_release, counts)
        told = comparison_document.document(_in_zone(found, self._zone))
        told["differences"] = [
            {
                **each,
                "before": self._captures.cited("before", each["before"]),
                "after": self._captures.cited("after", each["after"]),
            }
            for each in told["differences"]
        ]
        return told

    def _watched(self) -> tuple[dict[str, Any] | None, Course | None]:
        watch = self._chosen.watch
        if watch is None:
            self._missing.append("Nothing was watched: the store holds no watch of this window.")
            return None, None
        opening = restored_state(watch.start.opening)
        sightings = self._store.sightings(watch.id)
        state, _ = replay(opening, sightings)
        if len(sightings) < watch.polls:
            self._missing.append(
                "The polls of the watch were taken out of the store, as --keep-days says: its log is here, the stages "
                "and the lines that they were told by are not."
            )
        rows = [plain_row(row, self._zone) for row in stage_log.rows(state)] if len(sightings) == watch.polls else None
        return {
            "started": _moment(watch.start.started, self._zone),
            "ended": _moment(watch.ended, self._zone),
            "outcome": watch.outcome,
            "target_release": watch.start.target,
            "polls": watch.polls,
            "stages": rows,
            "happenings": list(self._happenings(watch, {each.number: each for each in sightings})),
        }, opening.course

    def _happenings(self, watch: StoredWatch, sightings: Mapping[int, Sighting]) -> Iterator[dict[str, Any]]:
        for each in self._store.happenings(watch.id):
            told = plain(each)
            told["moment"] = _moment(each.moment, self._zone)
            sighting = sightings.get(each.poll)
            told["evidence"] = self._seen(watch, sighting) if sighting is not None else []
            yield told

    def _seen(self, watch: StoredWatch, sighting: Sighting) -> list[dict[str, Any]]:
        part = f"watch/{sighting.number:05}"
        items = [*sighting.evidence, *(item for mark in sighting.marks for item in mark.evidence)]
        told = [
            {"member": item.member, "command": item.command, "numbers": list(item.numbers), "lines": list(item.lines)}
            for item in dict.fromkeys(items)
        ]
        if told:
            self._captures.know(part, self._store.poll_captures(watch.id, sighting.number))
        return self._captures.cited(part, encodable_data(told))

    def _plan(self, course: Course | None, before: Snapshot | None) -> dict[str, Any] | None:
        if course is not None and course.stages:
            return {"source": "watch", **_course(course, self._zone)}
        if before is None:
            self._missing.append("There is no plan: that takes a side before.")
            return None
        made = course_of(make(before, self._inputs.fleet.policy, self._inputs.history))
        return {"source": "anew", **_course(made, self._zone)}

    def _site_files(self) -> list[dict[str, Any]]:
        copies = self._copies()
        rows = []
        for each in self._inputs.files:
            if each.data is None:
                continue
            secret = _holds_secret(each.data, self._inputs.secrets)
            rows.append(
                {
                    "name": each.name,
                    # With the rest of the file at hand, its digest would tell whether a secret was guessed right.
                    "sha256": None if secret else digest(each.data),
                    "copied": each.name in copies,
                    "looks_secret": secret,
                }
            )
        return rows

    def _copies(self) -> dict[str, bytes]:
        return {
            each.name: each.data
            for each in self._inputs.files
            if each.name in COPIED and each.data is not None and not _holds_secret(each.data, self._inputs.secrets)
        }

    def _date(self) -> datetime:
        """The moment by whose night the window is known: its start, or what the store tells of it."""
        watch, before, after = self._chosen.watch, self._chosen.before, self._chosen.after
        start = self._pair.window.start if self._pair.window is not None else None
        known = [
            *([watch.start.started] if watch is not None else []),
            *([asked(after)] if after is not None else []),
            *([asked(before)] if before is not None else []),
        ]
        # The inventory may name the next window by now, and before a window there is only its baseline.
        ahead = watch is None and after is None and start is not None and start > max(known)
        return start if start is not None and (ahead or min(known) <= start <= max(known)) else known[0]

    def _moment(self) -> datetime:
        watch = self._chosen.watch
        known = [each.judged for each in (self._chosen.before, self._chosen.after) if each is not None]
        if watch is not None:
            known.append(watch.ended or watch.latest or watch.start.started)
        return max(known).astimezone(UTC)

    def _local(self, moment: datetime) -> datetime:
        return moment.astimezone(self._zone)


_NO_SIDE = {
    "before": "There is no verdict from before: the store holds no baseline of the pair from before the window.",
    "after": "There is no verdict from afterwards: nobody compared the pair, or asked it otherwise, after the window.",
}
_NO_BASELINE = "There is no baseline: what stands here as before is an ordinary judgement, which asks for less."


def _relined(data: Any, files: Mapping[str, bytes]) -> Any:
    """The data, every cited line as it stands in the file that it is cited from."""
    texts: dict[str, list[str]] = {}

    def lines(name: str) -> list[str]:
        if name not in texts:
            texts[name] = transcript.split(files[name].decode("utf-8", "surrogateescape"))
        return texts[name]

    def walked(value: Any) -> Any:
        if isinstance(value, list):
            return [walked(each) for each in value]
        if not isinstance(value, dict):
            return value
        if value.get("file") is not None and "numbers" in value:
            return {**value, "lines": [encodable(lines(value["file"])[number - 1]) for number in value["numbers"]]}
        return {key: walked(each) for key, each in value.items()}

    return walked(data)


def _target(pair: Pair, chosen: Chosen) -> str:
    """What the window was for: the inventory may name the next target by now."""
    if chosen.watch is not None:
        return chosen.watch.start.target
    judged = [each for each in (chosen.before, chosen.after) if each is not None]
    return judged[0].target_release if judged else pair.target_release


def _in_zone(found: Comparison, zone: tzinfo) -> Comparison:
    before = replace(found.before, moment=found.before.moment.astimezone(zone))
    return replace(found, before=before, after=replace(found.after, moment=found.after.moment.astimezone(zone)))


def plain_row(row: stage_log.StageRow, zone: tzinfo) -> dict[str, Any]:
    """A stage of the log as JSON-ready data: moments with their offset, durations in seconds."""
    return {
        "stage": row.stage,
        "began": [_moment(each, zone) for each in row.began],
        "ended": [_moment(each, zone) for each in row.ended] if row.ended is not None else None,
        "shortest_seconds": row.shortest,
        "longest_seconds": row.longest,
        "p50_seconds": row.p50_seconds,
        "p90_seconds": row.p90_seconds,
        "against": row.against,
        "failed": row.failed,
    }


def _course(course: Course, zone: tzinfo) -> dict[str, Any]:
    told = plain(course)
    told["window_end"], told["begin"] = _moment(course.window_end, zone), _moment(course.begin, zone)
    for stage, data in zip(course.stages, told["stages"], strict=True):
        data["start"], data["last_moment"] = _moment(stage.start, zone), _moment(stage.last_moment, zone)
    return told


def _of_the_pair(pair: Pair) -> dict[str, Any]:
    """What the inventory has of this pair, its members' addresses and logins aside."""
    window, image = pair.window, pair.image
    told = {
        "members": [member.name for member in pair.members],
        "image": {"file": image.file, "bytes": image.bytes} if image is not None else None,
        "window": {"start": iso(window.start), "minutes": window.minutes} if window is not None else None,
        "time_zone": pair.time_zone,
        "uplink_mbps": pair.uplink_mbps,
        "areas": [
            {"name": each.name, "aps": list(each.aps), "critical": each.critical, "uplink_mbps": each.uplink_mbps}
            for each in pair.areas
        ],
        "shift": pair.shift,
    }
    return {**told, "sha256": digest(as_json(encodable_data(told)))}


def _waiver(waiver: Waiver) -> dict[str, Any]:
    return {
        "pair": waiver.pair,
        "rule": waiver.rule,
        "who": waiver.who,
        "why": waiver.why,
        "until": waiver.until.isoformat(),
    }


def _holds_secret(data: bytes, secrets: Sequence[str]) -> bool:
    text = data.decode("utf-8", "surrogateescape")
    return blanked(Capture("", "", text), secrets).lines > 0


def _moment(moment: datetime | None, zone: tzinfo) -> str | None:
    return iso(moment.astimezone(zone)) if moment is not None else None
