"""The connection plugin for recordings, opened by Nornir itself."""

from __future__ import annotations

from pathlib import Path

import pytest
from nornir.core.configuration import Config
from nornir.core.inventory import ConnectionOptions, Host
from nornir.core.plugins.connections import ConnectionPlugin, ConnectionPluginRegister

from collector import recording
from collector.asking import Asking
from collector.capture import Capture, Ending
from collector.recorded import RecordedSession
from parsers import catalogue


def test_nornir_opens_it_and_it_answers_from_the_folder(tmp_path: Path) -> None:
    recording.write(tmp_path, "quay-a", [Capture("quay-a", "show boot", "BOOT variable =")])
    ConnectionPluginRegister.register("recorded for a test", RecordedSession)
    try:
        host = Host("quay-a")
        extras = {"folder": tmp_path, "member": "quay-a"}
        host.connection_options["recorded for a test"] = ConnectionOptions(extras=extras)
        asking: Asking = host.get_connection("recorded for a test", Config())
        answers = [asking.ask(command) for command in catalogue.asked()]
        host.close_connections()
    finally:
        ConnectionPluginRegister.deregister("recorded for a test")
    assert [answer.command for answer in answers] == [command.text for command in catalogue.asked()]
    assert [answer for answer in answers if answer.ending is not Ending.MISSING] == [
        Capture("quay-a", "show boot", "BOOT variable =")
    ]


def test_a_malformed_recording_and_a_hostile_name_are_told_when_it_opens(tmp_path: Path) -> None:
    own = recording.write(tmp_path, "quay-a", [])
    (own / "manifest.json").write_text("{")
    for member in ("quay-a", "../quay-a", ""):
        session: ConnectionPlugin = RecordedSession()
        with pytest.raises(recording.RecordingError):
            session.open(None, None, None, None, None, {"folder": tmp_path, "member": member})


def test_is_of_no_use_before_it_is_open_and_after_it_is_closed(tmp_path: Path) -> None:
    session = RecordedSession()
    with pytest.raises(RuntimeError):
        _ = session.connection
    session.open(None, None, None, None, None, {"folder": tmp_path, "member": "quay-a"})
    (command, *_) = catalogue.asked()
    asking: Asking = session.connection
    assert asking.ask(command).ending is Ending.MISSING
    session.close()
    with pytest.raises(RuntimeError):
        _ = session.connection
