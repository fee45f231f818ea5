"""The message of one poll of a watch, in plain text: what went wrong or came to its end, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

from collector.notify import Message, Tone
from collector.report.message import LONGEST
from collector.report.visible import visible
from collector.watching.sighting import Happening, WatchState

_TOLD = ("stage-ended", "switchover", "watcher-blind", "watcher-sees", "turn-back", "done", "not-done", "rolled-back")
_SUBJECTS = {"done": "done, and both members prove it", "rolled-back": "rolls back", "not-done": "no longer done"}


def of_poll(state: WatchState, happenings: Sequence[Happening]) -> Message | None:
    """The message on what a poll brought; None where nothing of it matters to who isn't watching."""
    told = [each for each in happenings if each.severity != "note" or each.kind in _TOLD]
    if not told:
        return None
    worst = max(told, key=_weight)
    unwell = worst.kind == "done" and worst.severity != "note"
    subject = (
        "done, but not all is well"
        if unwell
        else _SUBJECTS.get(worst.kind) or (worst.id or worst.kind).replace("-", " ")
    )
    tone = Tone.WORSE if worst.severity != "note" else Tone.BETTER if worst.kind == "done" else Tone.NEITHER
    body = "\n\n".join(_block(each) for each in told)
    shown = body if len(body) <= LONGEST else f"{body[: LONGEST - 2]} …"
    return Message(f"readypair: {visible(state.pair)} to {state.target}: {subject}", shown, tone)


def _weight(told: Happening) -> tuple[int, bool]:
    """How bad it is, and then whether it is the end of the window."""
    return ("note", "warning", "failure").index(told.severity), told.kind in _SUBJECTS


def _block(told: Happening) -> str:
    remedy = f"\nWhat to do: {visible(told.remedy)}" if told.remedy else ""
    return f"{told.moment:%H:%M} {visible(told.statement)}{remedy}"
