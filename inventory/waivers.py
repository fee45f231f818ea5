"""The waivers: blocks that somebody with a name accepts until a date (`waivers.yaml`)."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, StrictStr, ValidationInfo

from inventory import yaml_files
from inventory.pairs import Pair

_UNTIL = "must be a date such as 2027-03-31 or a time with its offset from UTC such as 2027-03-31T06:00:00+02:00"


@dataclass(frozen=True)
class Waiver:
    """A block that `who` accepts on a pair, or on all pairs that a glob matches, for the reason `why`.

    `until` is a time that knows its offset from UTC, or a date: then the waiver holds to the end of that day.
    """

    pair: str
    rule: str
    who: str
    why: str
    until: date

    def matches(self, pair: str) -> bool:
        """Whether it is meant for the pair of this name; capitals count, as they do in the inventory."""
        return fnmatchcase(pair, self.pair)

    def holds(self, pair: Pair, moment: datetime) -> bool:
        """Whether it still holds for the pair at this moment, which knows its offset from UTC.

        A plain date ends by the pair's own clock: at the offset of its window, else at the moment's.
        """
        if isinstance(self.until, datetime):
            return moment < self.until
        offset = pair.window.start.tzinfo if pair.window else moment.tzinfo
        return moment < datetime.combine(self.until + timedelta(days=1), time.min, offset)


def read_waivers(path: Path, rules: Mapping[str, bool]) -> tuple[Waiver, ...]:
    """The waivers of a file, none where there is no file; `rules` says of each rule's id whether it may be waived.

    Raises InventoryError with all mistakes.
    """
    if not os.path.lexists(path):
        return ()
    found = yaml_files.validate(_Waivers, yaml_files.load(path), path, context={"rules": rules})
    return tuple(Waiver(each.pair, each.rule, each.who, each.why, each.until) for each in found.waivers)


def _filled(value: str) -> str:
    if not value.strip():
        raise ValueError("must not be empty")
    return value.strip()


def _rule(value: str, info: ValidationInfo) -> str:
    known: Mapping[str, bool] = (info.context or {})["rules"]
    if value not in known:
        raise ValueError(f"there is no rule {value!r}; `readypair rules` lists them")
    if not known[value]:
        raise ValueError(f"nobody may waive {value}; mend what it says and take this waiver out")
    return value


def _date_or_time(value: object) -> date:
    if isinstance(value, str):
        value = _parsed(value.strip())
    if isinstance(value, datetime) and value.tzinfo is None:
        raise ValueError("must say its offset from UTC, such as 2027-03-31T06:00:00+02:00")
    if not isinstance(value, date) or value == date.max:
        raise ValueError(_UNTIL)
    return value


def _parsed(text: str) -> date | None:
    for read in (date.fromisoformat, datetime.fromisoformat):
        try:
            return read(text)
        except ValueError:
            continue
    return None


_Filled = Annotated[StrictStr, AfterValidator(_filled)]


class _Waiver(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    pair: _Filled
    rule: Annotated[_Filled, AfterValidator(_rule)]
    who: _Filled
    why: _Filled
    until: Annotated[Any, BeforeValidator(_date_or_time)]


class _Waivers(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    # The key alone is what is left where every waiver under it is commented out.
    waivers: Annotated[tuple[_Waiver, ...], BeforeValidator(lambda value: () if value is None else value)] = ()
