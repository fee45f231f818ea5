"""The result in Prometheus' text format, for an exporter that picks up such files.

Names and units follow the published document "Metric and label naming" of Prometheus: base units, the unit last. Every
rule and verdict has its series whatever its value, so that none disappears when it becomes 0.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from prometheus_client import CollectorRegistry, Gauge, generate_latest
from prometheus_client.parser import text_string_to_metric_families

from collector.finding import Status, Verdict
from collector.nights.night import Room
from collector.report import wording
from collector.report.visible import encodable
from collector.result import Result

_LAST_SUCCESS = "readypair_last_success_timestamp_seconds"


def metrics(
    result: Result,
    rooms: Mapping[str, Sequence[Room]],
    *,
    last_success: float | None,
    undelivered: int = 0,
) -> bytes:
    """The result as a text file; `rooms` are the members' flash by their pair's name.

    `last_success` is when a sweep last asked every pair to the end, in seconds since the epoch (None: never known);
    `undelivered` how many notifications of this one couldn't be delivered.
    """
    registry = CollectorRegistry()
    _pairs(registry, result)
    _rules(registry, result)
    _flash(registry, rooms)

    def one(name: str, text: str, value: float) -> None:
        Gauge(name, text, registry=registry).set(value)

    seconds = (result.finished - result.started).total_seconds()
    late = sum(not pair.in_time for pair in result.pairs)
    unreached = sum(pair.in_time and bool(wording.unreached(pair)) for pair in result.pairs)
    one("readypair_pairs_unreached", "Pairs of which a member gave no answer when it was asked.", unreached)
    one("readypair_pairs_not_in_time", "Pairs that the sweep's end came before.", late)
    one("readypair_sweep_duration_seconds", "How long the sweep took.", seconds)
    one("readypair_notifications_undelivered", "Notifications of the sweep that couldn't be delivered.", undelivered)
    if last_success is not None:
        one(_LAST_SUCCESS, "When a sweep last asked every pair to the end, whatever the verdicts.", last_success)
    return generate_latest(registry)


def last_success(text: str) -> float | None:
    """When a sweep last succeeded, in seconds since the epoch, by an earlier file; None where it doesn't tell."""
    try:
        found = [family for family in text_string_to_metric_families(text) if family.name == _LAST_SUCCESS]
        return float(found[0].samples[0].value)
    except Exception:
        # Whatever stands there isn't ours, or isn't whole; the parser raises what it likes.
        return None


def _pairs(registry: CollectorRegistry, result: Result) -> None:
    verdicts = Gauge(
        "readypair_pair_verdict", "1 for the pair's verdict, else 0.", ["pair", "site", "verdict"], registry=registry
    )
    windows = Gauge(
        "readypair_pair_window_start_timestamp_seconds",
        "When the pair's window begins.",
        ["pair", "site"],
        registry=registry,
    )
    for pair in result.pairs:
        labels = encodable(pair.pair.name), encodable(pair.pair.site)
        for verdict in Verdict:
            verdicts.labels(*labels, verdict.value).set(pair.verdict is verdict)
        if pair.pair.window:
            windows.labels(*labels).set(pair.pair.window.start.timestamp())


def _rules(registry: CollectorRegistry, result: Result) -> None:
    blocks = Gauge("readypair_pair_blocks", "Pairs that the rule blocks.", ["rule"], registry=registry)
    unknown = Gauge(
        "readypair_pair_unknowns",
        "Pairs that aren't go since the rule's answer isn't known.",
        ["rule"],
        registry=registry,
    )
    counted = Counter((finding.rule, finding.counts_as) for pair in result.pairs for finding in pair.findings)
    for rule in dict.fromkeys(rule for rule, _ in counted):
        blocks.labels(rule).set(counted[rule, Status.BLOCK])
        unknown.labels(rule).set(counted[rule, Status.UNKNOWN])


def _flash(registry: CollectorRegistry, rooms: Mapping[str, Sequence[Room]]) -> None:
    free = Gauge("readypair_flash_free_bytes", "Free flash of the member.", ["pair", "member"], registry=registry)
    needed = Gauge(
        "readypair_flash_needed_bytes",
        "What the images take on the member's flash, less what is staged.",
        ["pair", "member"],
        registry=registry,
    )
    for pair, members in rooms.items():
        for room in members:
            for gauge, value in ((free, room.free), (needed, room.needed)):
                if value is not None:
                    gauge.labels(encodable(pair), encodable(room.member)).set(value)
