"""States and nights of invented pairs, for the property tests."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from hypothesis import strategies as st

from collector.finding import Status, Verdict
from collector.nights.night import CertificateEnd, MemberState, Night, PairState, RuleState, Source

MEMBERS = ("quay-a", "quay-b")
RULES = ("boot-variable", "flash-space", "install-state", "pair-link")
FIRST = date(2027, 1, 1)

_names = st.text(st.characters(exclude_categories=()), min_size=1, max_size=4)
_releases = st.sampled_from(("17.9.4a", "17.9.5", "17.12.4"))
PASS, CAUTION = RuleState(Status.PASS, False), RuleState(Status.CAUTION, False)
BLOCK, WAIVED = RuleState(Status.BLOCK, True), RuleState(Status.BLOCK, False, waived=True)
# A waived block may hide an unknown; an unknown decides nothing where the rule is weighed as a caution.
UNSURE = RuleState(Status.BLOCK, True, waived=True)
UNKNOWN, WEIGHTLESS = RuleState(Status.UNKNOWN, True), RuleState(Status.UNKNOWN, False)
NOT_APPLICABLE = RuleState(Status.NOT_APPLICABLE, False)

_rules = st.sampled_from((PASS, CAUTION, BLOCK, WAIVED, UNSURE, UNKNOWN, WEIGHTLESS, NOT_APPLICABLE))
_ends = st.builds(
    CertificateEnd,
    label=st.sampled_from(("quay_join (serial 02)", "quay_join (serial 03)")),
    end=st.sampled_from((datetime(2034, 1, 5, 10, 22, 31), datetime(2036, 1, 5, 10, 22, 31))),
)


def _sorted(rows: tuple[str, ...]) -> st.SearchStrategy[tuple[str, ...]]:
    return st.sets(st.sampled_from(rows)).map(lambda chosen: tuple(sorted(chosen)))


def members() -> st.SearchStrategy[MemberState]:
    """A member of whom anything may be known or not."""
    return st.builds(
        MemberState,
        reached=st.booleans(),
        role=st.sampled_from((None, "active", "standby")),
        release=st.none() | _releases,
        install_mode=st.sampled_from((None, "install", "bundle")),
        packages=st.none() | _sorted(("IMG C 17.09.04a.0.6", "IMG I 17.12.04.0.1", "SMU C fix.bin")),
        boot=st.none()
        | st.lists(st.sampled_from(("bootflash:packages.conf", "bootflash:old.bin")), max_size=3).map(tuple),
        rom_monitor=st.sampled_from((None, "17.12.1r", "16.12(3r)")),
        neighbours=st.none() | _sorted(("communications up", "communications down", "chassis 2 0000.5e00.5301, Ready")),
        certificates=st.none() | st.sets(_ends).map(lambda ends: tuple(sorted(ends, key=lambda e: (e.label, e.end)))),
    )


def states() -> st.SearchStrategy[PairState]:
    """A pair's state, whether or not it could be one."""
    return st.builds(
        PairState,
        verdict=st.sampled_from(Verdict),
        target_release=_releases,
        rules=st.dictionaries(st.sampled_from(RULES), _rules),
        members=st.fixed_dictionaries({name: members() for name in MEMBERS}),
    )


def ap_sets() -> st.SearchStrategy[tuple[str, ...] | None]:
    """The names of a pair's access points, or that they aren't known; any text may be a name."""
    return st.none() | st.sets(_names, max_size=6).map(lambda names: tuple(sorted(names)))


def night(
    number: int,
    state: int,
    *,
    aps: int | None = None,
    verdict: Verdict = Verdict.GO,
    in_time: bool = True,
    pair: str = "quay",
) -> Night:
    """The night so many days after the first, by the numbers of its state and of its set of access points."""
    day = FIRST + timedelta(days=number)
    moment = datetime.combine(day, time(22, 0), UTC)
    return Night(
        id=number,
        pair=pair,
        site="Harbour Quay",
        night=day,
        source=Source.SWEEP,
        asked=moment,
        judged=moment,
        verdict=verdict,
        target_release="17.12.4",
        in_time=in_time,
        state=state,
        aps=aps,
    )
