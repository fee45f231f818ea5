"""The signals that would end a process: a sweep ends in order on the first of them."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import Any, Self

# Ctrl-C, a service manager's stop, a terminal that goes away.
_ENDING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class Signals:
    """A context manager, for the main thread, in which these signals don't end the process.

    The first one calls `first` where it is set, and otherwise raises KeyboardInterrupt. One more raises
    KeyboardInterrupt, and after that each does what the system has it do. Those that whoever started the process wants
    ignored (nohup) stay ignored.
    """

    def __init__(self) -> None:
        self.first: Callable[[], None] | None = None
        self._heeded = False
        self._before: dict[signal.Signals, Any] = {}

    def __enter__(self) -> Self:
        if threading.current_thread() is threading.main_thread():
            before = {number: signal.getsignal(number) for number in _ENDING}
            self._before = {number: own for number, own in before.items() if own not in (signal.SIG_IGN, None)}
            for number in self._before:
                signal.signal(number, self._come)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for number, own in self._before.items():
            signal.signal(number, own)

    def _come(self, number: int, frame: FrameType | None) -> None:
        if self.first is not None and not self._heeded:
            self._heeded = True
            self.first()
            return
        if self._heeded and number == signal.SIGHUP:
            # A terminal that goes away says so more than once: the kernel does, and the shell that ran in it.
            return
        for own in self._before:
            signal.signal(own, signal.SIG_DFL)
        raise KeyboardInterrupt
