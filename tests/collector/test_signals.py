from __future__ import annotations

import signal
import threading
from collections.abc import Iterator

import pytest

from collector.signals import Signals

ALL = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@pytest.mark.parametrize("number", ALL)
def test_the_first_is_heeded_and_the_second_ends(number: signal.Signals) -> None:
    heeded: list[str] = []
    second = signal.SIGTERM if number == signal.SIGHUP else number
    with Signals() as signals:
        signals.first = lambda: heeded.append("first")
        signal.raise_signal(number)
        assert heeded == ["first"]
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(second)
        # A third one needs nobody's help.
        assert {signal.getsignal(each) for each in ALL} == {signal.SIG_DFL}
    assert heeded == ["first"]


@pytest.mark.parametrize("number", ALL)
def test_while_there_is_nothing_to_heed_the_first_ends(number: signal.Signals) -> None:
    with Signals(), pytest.raises(KeyboardInterrupt):
        signal.raise_signal(number)


def test_a_terminal_that_says_twice_that_it_goes_says_it_once() -> None:
    heeded: list[str] = []
    with Signals() as signals:
        signals.first = lambda: heeded.append("first")
        signal.raise_signal(signal.SIGHUP)
        try:
            signal.raise_signal(signal.SIGHUP)
        except KeyboardInterrupt:
            pytest.fail("it counted twice")
        assert heeded == ["first"]
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGTERM)


@pytest.fixture
def _nohup() -> Iterator[None]:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    yield
    signal.signal(signal.SIGHUP, before)


@pytest.mark.usefixtures("_nohup")
def test_what_is_to_be_ignored_stays_ignored() -> None:
    with Signals() as signals:
        signals.first = lambda: pytest.fail("it was to be ignored")
        signal.raise_signal(signal.SIGHUP)


def test_afterwards_all_is_as_before() -> None:
    before = [signal.getsignal(number) for number in ALL]
    with pytest.raises(KeyboardInterrupt), Signals():
        signal.raise_signal(signal.SIGTERM)
    assert [signal.getsignal(number) for number in ALL] == before


def test_outside_the_main_thread_it_changes_nothing() -> None:
    entered = []

    def enter() -> None:
        with Signals():
            entered.append(signal.getsignal(signal.SIGTERM))

    thread = threading.Thread(target=enter)
    thread.start()
    thread.join()
    assert entered == [signal.getsignal(signal.SIGTERM)]
