"""Polling both members over real SSH: sessions that last, are lost and taken up anew, and members that hang."""

from __future__ import annotations

from pathlib import Path

from collector import demo, hostkeys, rules, simulated, ssh
from collector.capture import Capture, Ending
from collector.credentials import Credentials
from collector.watching.polling import SshPoller
from inventory.opening import open_inventory
from parsers import catalogue, terminal
from tests.collector.watching.ssh_play import A, B, Played, played
from tests.demo_fleet import INVENTORY

WATCHED = [command.text for command in catalogue.needed_by("watch")]


def whole(captures: list[Capture]) -> bool:
    return [capture.command for capture in captures] == WATCHED and all(
        capture.ending is Ending.COMPLETE and not capture.reason for capture in captures
    )


def reasons(captures: list[Capture]) -> set[str]:
    assert [capture.command for capture in captures] == WATCHED
    assert all(capture.ending is Ending.MISSING for capture in captures)
    return {capture.reason for capture in captures}


def logins(of: Played, member: str) -> int:
    # Only a login sets the width; the length is set once more after each round.
    return of.playing.fleet.received(member).count(terminal.SETTINGS[1])


def test_sessions_last_from_poll_to_poll() -> None:
    with played() as of:
        for _ in range(3):
            heard = of.poller.poll()
            assert whole(heard[A])
            assert whole(heard[B])
        assert (logins(of, A), logins(of, B)) == (1, 1)


def test_who_reloads_is_missed_and_heard_again_in_a_session_of_its_own() -> None:
    with played() as of:
        assert whole(of.poller.poll()[B])
        of.playing.go_to("reload-standby")
        for _ in range(2):
            heard = of.poller.poll()
            assert whole(heard[A])
            [reason] = reasons(heard[B])
            assert "nothing listens" in reason
        of.playing.go_to("synchronise")
        heard = of.poller.poll()
        assert whole(heard[A])
        assert whole(heard[B])
        assert (logins(of, A), logins(of, B)) == (1, 2)


def test_the_switchover_and_the_second_reload_are_survived() -> None:
    with played() as of:
        assert all(map(whole, of.poller.poll().values()))
        of.playing.go_to("switch-over")
        heard = of.poller.poll()
        # The new active one lost its session and is asked again within the same poll.
        assert whole(heard[B])
        assert reasons(heard[A])
        of.playing.go_to("validate")
        assert all(map(whole, of.poller.poll().values()))


def test_a_session_whose_prompt_changes_between_polls_is_asked_again_from_the_start() -> None:
    with played("active-crashes") as of:
        crash = of.playing.play.moment("restart-aps")
        of.playing.set_elapsed(crash - 1)
        before = of.poller.poll()
        assert "STANDBY HOT" in said(before[A], "show redundancy")
        of.playing.set_elapsed(crash)
        heard = of.poller.poll()
        assert whole(heard[A])
        assert logins(of, A) == 1
        assert reasons(heard[B])


def said(captures: list[Capture], command: str) -> str:
    return next(capture.text for capture in captures if capture.command == command)


def test_a_member_that_takes_connections_and_says_nothing_is_given_up_and_its_partner_is_told() -> None:
    with played(silent=True, silence=1.0) as of:
        of.playing.go_to("reload-standby")
        for _ in range(2):
            heard = of.poller.poll()
            assert whole(heard[A])
            assert reasons(heard[B]) == {"no answer within 1 s"}
        of.playing.go_to("synchronise", 0.9)
        of.poller._silence = 30.0
        assert whole(of.poller.poll()[B])
        assert logins(of, A) == 1


def test_another_key_after_the_reload_is_never_accepted() -> None:
    with played() as of:
        assert whole(of.poller.poll()[B])
        of.playing.go_to("reload-standby")
        of.poller.poll()
        # What was the key of one member is now expected of the other.
        a, b = of.known_hosts.read_text().splitlines()
        of.known_hosts.write_text(f"{a}\n{b.split()[0]} {' '.join(a.split()[1:])}\n")
        received = of.playing.fleet.received(B)
        of.playing.go_to("synchronise", 0.9)
        heard = of.poller.poll()
        assert whole(heard[A])
        [reason] = reasons(heard[B])
        assert "its host key has changed" in reason
        assert of.playing.fleet.received(B) == received
        assert hostkeys.KnownHosts.read(of.known_hosts)


def test_nothing_but_the_catalogue_goes_over_the_wire() -> None:
    with played("active-crashes") as of:
        for act in ("before", "reload-standby", "switch-over", "restart-aps", "rolled-back"):
            of.playing.go_to(act)
            of.poller.poll()
        sent = {entry.line for entry in of.playing.fleet.log}
        assert sent == {*WATCHED, *terminal.SETTINGS}


def test_a_poll_that_is_stopped_waits_for_nobody() -> None:
    with played(silent=True, silence=600.0) as of:
        of.playing.go_to("reload-standby")
        of.poller.stop()
        assert reasons(of.poller.poll()[B])


def test_what_a_session_out_of_step_told_counts_neither_as_whole_nor_in_the_next_poll(tmp_path: Path) -> None:
    fleet = open_inventory(INVENTORY, rules.waivable())
    pair = next(each for each in fleet.pairs if each.name == "quay")
    recordings = {name: demo.fixtures_folder() / name for name in (A, B)}
    # The prompt stands in the middle of the round's last answer, and the controller pauses there.
    pausing = {B: simulated.Behaviour(pauses_at=WATCHED[-1])}
    let_in = simulated.Credentials("duty", "of-the-test")
    with simulated.fleet(recordings, pausing, let_in) as running, demo.led(fleet, running.ports, simulated.ADDRESS):
        (tmp_path / "known_hosts").write_text(running.known_hosts_text())
        found = dict.fromkeys((A, B), Credentials(let_in.username, let_in.password))
        ssh.prepare(fleet.nornir, [pair], found, known_hosts=tmp_path / "known_hosts")
        poller = SshPoller(fleet.nornir, pair, catalogue.needed_by("watch"))
        try:
            for _ in range(2):
                heard = poller.poll()
                assert whole(heard[A])
                assert {each.ending for each in heard[B]} == {Ending.CUT_OFF}
        finally:
            poller.close()
