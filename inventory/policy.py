"""The site's policy: supported hardware, trains, upgrade paths, minimums, sizes and weights."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    model_validator,
)

from parsers.release import Release, RomMonitor, plain, train

# Longer times are slips of the pen, and some lead out of the calendar: a year of hours, ten years of days.
_MOST_HOURS, _MOST_DAYS = 8_784, 3_660
# A window has a week at most. Rates are in Mbit/s or per cent; outside of these, times would leave the calendar.
_MOST_MINUTES = 7 * 24 * 60
_LEAST_RATE, _MOST_RATE = 0.001, 1_000_000
_MOST_BYTES = 10**12


def _text(value: object) -> object:
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise ValueError(f'write it in quotes, "{value}": YAML reads it as a number and drops zeros')
    return value


def _train_or_release(value: str) -> str:
    try:
        return train(value)
    except ValueError:
        pass
    try:
        return plain(value)
    except ValueError:
        raise ValueError(f"{value!r} is neither a train such as 17.9 nor a release such as 17.9.4a") from None


def _rom_monitor(value: str) -> str:
    return RomMonitor.parse(value).text


def _off(value: object) -> object:
    # YAML 1.1 reads a bare `off` as false.
    return "off" if value is False else value


def _rule(value: str, info: ValidationInfo) -> str:
    known = (info.context or {}).get("rules")
    if known is not None and value not in known:
        raise ValueError(f"there is no rule {value!r}; `readypair rules` lists them")
    return value


def distinct(read: Callable[[str], str]) -> Callable[[object], object]:
    """A validator of a mapping before it is read: ValueError where two of its keys come out as the same."""

    def check(value: object) -> object:
        seen: dict[str, str] = {}
        for key in value if isinstance(value, dict) else ():
            try:
                meant = read(key) if isinstance(key, str) else str(key)
            except ValueError:
                continue
            if meant in seen:
                raise ValueError(f"{seen[meant]} and {key} are the same; take one of them out")
            seen[meant] = str(key)
        return value

    return check


ReleaseText = Annotated[str, BeforeValidator(_text), AfterValidator(plain)]
TrainText = Annotated[str, BeforeValidator(_text), AfterValidator(train)]
TrainOrRelease = Annotated[str, BeforeValidator(_text), AfterValidator(_train_or_release)]
RomMonitorText = Annotated[str, BeforeValidator(_text), AfterValidator(_rom_monitor)]
Weight = Annotated[Literal["block", "caution", "off"], BeforeValidator(_off)]


class Table(BaseModel):
    """A table of the policy: no key that the tool doesn't know, no value taken for another type, never changed."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Hardware(Table):
    """What the site knows of one controller model."""

    kind: Literal["physical", "virtual"]
    in_service_upgrade: bool
    rom_monitor_minimum: RomMonitorText | None = None


class Train(Table):
    """What the site knows of one release train."""

    long_lived: bool


class AccessPointModel(Table):
    """Which controller releases support an access point model: from the first to the last, both included.

    Without a last release its support goes on. `image_bytes` is the size of the model's own image, `flash_bytes` the
    room that its flash has for one.
    """

    first_release: ReleaseText | None = None
    last_release: ReleaseText | None = None
    image_bytes: Annotated[int, Field(ge=1, le=_MOST_BYTES)] | None = None
    flash_bytes: Annotated[int, Field(ge=1, le=_MOST_BYTES)] | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        first, last = self.first_release, self.last_release
        if first is not None and last is not None and Release.parse(last) < Release.parse(first):
            raise ValueError(f"its last_release {last} is before its first_release {first}; correct one of them")
        return self


class CaptureAge(Table):
    """How old captures may be, in hours: for the nightly look, and before the window and during it.

    The second one holds from `nightly_hours` before the window's start, when no nightly look comes any more.
    """

    nightly_hours: Annotated[float, Field(gt=0, le=_MOST_HOURS)] = 26
    before_window_hours: Annotated[float, Field(gt=0, le=_MOST_HOURS)] = 2


TimedStage = Literal["expand", "reload-standby", "synchronise", "switch-over", "reload-other", "validate", "commit"]
BackStage = Literal["expand", "reload-standby", "synchronise", "switch-over", "reload-other", "restart-aps", "validate"]
StageName = TimedStage | Literal["copy", "stage-aps", "restart-aps"]


class Minutes(Table):
    """Three durations of one piece of work, in minutes: none is shorter than the one before it."""

    optimistic: Annotated[float, Field(ge=0, le=_MOST_MINUTES)]
    likely: Annotated[float, Field(ge=0, le=_MOST_MINUTES)]
    pessimistic: Annotated[float, Field(ge=0, le=_MOST_MINUTES)]

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if not self.optimistic <= self.likely <= self.pessimistic:
            raise ValueError("must be in order: optimistic the shortest, pessimistic the longest")
        return self


class Rates(Table):
    """Three rates or shares: none is larger than the one before it."""

    optimistic: Annotated[float, Field(ge=_LEAST_RATE, le=_MOST_RATE)]
    likely: Annotated[float, Field(ge=_LEAST_RATE, le=_MOST_RATE)]
    pessimistic: Annotated[float, Field(ge=_LEAST_RATE, le=_MOST_RATE)]

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if not self.optimistic >= self.likely >= self.pessimistic:
            raise ValueError("must be in order: optimistic the fastest, pessimistic the slowest")
        return self


class ApStaging(Table):
    """How access points load an image in advance. Rates in Mbit/s (10^6 bit/s), sizes in bytes.

    `transfers`: how many load at a time from one controller. `transfer_mbps`: what a single one takes at most.
    `image_bytes`: the size for every model that states none of its own. `uplink_percent`: how much of what an uplink
    has for staging goes into it.
    """

    transfers: Annotated[int, Field(ge=1, le=100_000)] | None = None
    transfer_mbps: Annotated[float, Field(ge=_LEAST_RATE, le=_MOST_RATE)] | None = None
    image_bytes: Annotated[int, Field(ge=1, le=_MOST_BYTES)] | None = None
    uplink_percent: Rates | None = None


class ApRestarts(Table):
    """How access points restart on the new image.

    `staged` and `unstaged`: how long one round takes until its access points serve clients again, where they hold the
    image and where they have to load it. `neighbour_dbm`: from which level on two access points count as neighbours
    that stand in for each other. `site_share_percent`: how much of a site may restart together. `rolling_percents`: the
    settings of the controller's own rolling restart, each the share that restarts in one round.
    """

    staged: Minutes | None = None
    unstaged: Minutes | None = None
    neighbour_dbm: Annotated[float, Field(ge=-120, le=0)] | None = None
    site_share_percent: Annotated[float, Field(gt=0, le=100)] | None = None
    rolling_percents: Sequence[Annotated[float, Field(gt=0, le=100)]] = ()


class AfterWindow(Table):
    """What a pair has to be like after its window, set against its baseline.

    `clients_percent`: how many of the clients that a baseline counted have to be there at about the same hour;
    `baseline_hours`: within how many hours of the day that is. `flash_percent`: how much of a member's flash may be
    taken before somebody has to explain it.
    """

    clients_percent: Annotated[float, Field(gt=0, le=100)] = 70
    baseline_hours: Annotated[float, Field(gt=0, le=12)] = 1
    flash_percent: Annotated[float, Field(gt=0, le=100)] = 10


class UpgradePath(Table):
    """One step between trains or releases; `direct` says whether it can be taken in service."""

    start: TrainOrRelease = Field(alias="from")
    end: TrainOrRelease = Field(alias="to")
    direct: bool


class Policy(Table):
    """The whole policy (`policy.yaml`).

    `staging_hours`: how long before the window the access points must hold the image. `recent_days`: how far back a
    switchover counts. The ceilings are of a processor's load and memory. `clock_seconds`: how far clocks may be apart.
    `certificate_days`: how long after the window a certificate must hold. `capture_spread_minutes`: how far apart the
    captures of a pair may have been taken.

    For the plan of a window: `timings` are those of whole stages and `way_back` those of turning back during a stage,
    `copy_mbps` is the rate at which an image is copied to one member's flash, `auto_abort_minutes` after how long the
    controller rolls back by itself, `procedure` the texts that the printed procedure shows a person, stage by stage.
    `after_window` is what a comparison after it goes by.
    """

    hardware: Mapping[str, Hardware]
    trains: Annotated[Mapping[TrainText, Train], BeforeValidator(distinct(train))]
    minimum_release: ReleaseText
    recommended_release: ReleaseText | None = None
    upgrade_paths: Sequence[UpgradePath]
    images_to_hold: Annotated[int, Field(ge=1, le=20)] = 3
    access_points: Mapping[str, AccessPointModel] = Field(default_factory=dict)
    staging_hours: Annotated[float, Field(ge=0, le=_MOST_HOURS)] = 24
    recent_days: Annotated[float, Field(ge=0, le=_MOST_DAYS)] = 14
    load_ceiling_percent: Annotated[float, Field(gt=0, le=100)] = 80
    memory_ceiling_percent: Annotated[float, Field(gt=0, le=100)] = 90
    clock_seconds: Annotated[float, Field(gt=0, le=_MOST_HOURS * 3600)] = 5
    certificate_days: Annotated[float, Field(ge=0, le=_MOST_DAYS)] = 30
    capture_age: CaptureAge = Field(default_factory=CaptureAge)
    capture_spread_minutes: Annotated[float, Field(gt=0, le=_MOST_HOURS * 60)] = 15
    timings: Mapping[TimedStage, Minutes] = Field(default_factory=dict)
    way_back: Mapping[BackStage, Minutes] = Field(default_factory=dict)
    copy_mbps: Rates | None = None
    auto_abort_minutes: Annotated[float, Field(gt=0, le=_MOST_MINUTES)] | None = None
    ap_staging: ApStaging = Field(default_factory=ApStaging)
    ap_restarts: ApRestarts = Field(default_factory=ApRestarts)
    procedure: Mapping[StageName, Sequence[str]] = Field(default_factory=dict)
    after_window: AfterWindow = Field(default_factory=AfterWindow)
    rules: Mapping[Annotated[str, AfterValidator(_rule)], Weight] = Field(default_factory=dict)

    def hardware_of(self, model: str) -> Hardware | None:
        """The row of a controller model; None where the policy has none."""
        return self.hardware.get(model)

    def train_of(self, release: Release) -> Train | None:
        """The row of a release's train; None where the policy has none."""
        return self.trains.get(release.train)
