"""Tells receivers of what a poll brought, beside the watch: one that takes its time delays no poll."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence

from collector.notify import Message, Receiver, deliver
from collector.watching.sighting import Happening, WatchState

_FAREWELL = 20.0


class Telling:
    """A viewer that sends messages, one after the other, in a thread of its own; made and ended by its block.

    `message` makes a poll's message, or None; `complain` is told of each receiver that didn't take one.
    """

    def __init__(
        self,
        receivers: Sequence[Receiver],
        message: Callable[[WatchState, Sequence[Happening]], Message | None],
        complain: Callable[[str], object],
    ) -> None:
        self._receivers = receivers
        self._message = message
        self._complain = complain
        self._waiting: queue.Queue[Message] = queue.Queue()
        threading.Thread(target=self._send, name="messages", daemon=True).start()

    def polled(self, state: WatchState, happenings: Sequence[Happening]) -> None:
        """Send what the poll brought, if it is worth a message."""
        message = self._message(state, happenings) if self._receivers else None
        if message is not None:
            self._waiting.put(message)

    def finish(self) -> None:
        """Wait until all is sent, but not for long."""
        end = time.monotonic() + _FAREWELL
        with self._waiting.all_tasks_done:
            while self._waiting.unfinished_tasks and (left := end - time.monotonic()) > 0:
                self._waiting.all_tasks_done.wait(left)

    def _send(self) -> None:
        while True:
            message = self._waiting.get()
            try:
                for receiver in deliver(message, self._receivers):
                    self._complain(
                        f"couldn't notify {receiver.shown}; see that it is reachable and that its URL is right"
                    )
            finally:
                self._waiting.task_done()
