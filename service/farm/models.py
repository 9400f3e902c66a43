"""The tables of the farm file, one model each: their keys and defaults.

`example.toml` beside this module shows every key; messages take their remedies from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import Field, Tag, ValidationInfo, field_validator

from alerts.rules import GRAPE_PHYLLOXERA
from service.farm.check_tables import CheckTable
from service.farm.layout_tables import LayoutTable
from service.farm.logger_tables import Logger
from service.farm.rule_tables import RuleTable
from service.farm.text import one_of, value_text
from service.farm.values import (
    FROM_FIRST_READING,
    PLAIN,
    TABLE,
    AsTuple,
    Depth,
    EachOnce,
    Element,
    Email,
    FarmTable,
    Id,
    Latitude,
    Longitude,
    Name,
    Phone,
    ProbeName,
    Quiet,
    RootZone,
    SilentFactor,
    Spacing,
    UtcOffset,
    Zone,
    choose_form,
    probe_name,
    split_probe_name,
)

_HOURS = frozenset(map(str, range(24)))

Use = tuple[date, str, float]
Ids = Annotated[tuple[str, ...], AsTuple, EachOnce]
SCOPES = ("blocks", "sites", "districts")


class Organisation(FarmTable):
    """Who keeps the farm file."""

    name: Name


class District(FarmTable):
    """A part of the region that an advisory tells apart."""

    id: Id
    name: Name


class Forecast(FarmTable):
    """Where the air of a site is forecast; service.fetching.gridpoint asks for it."""

    feed: Literal["gridpoint"]
    url: Annotated[str, Field(pattern=r"^https?://[^\s/]")] | None = None
    every_min: Annotated[int, Field(ge=30, le=1440)] = 180
    allow_hosts: Annotated[tuple[Name, ...], AsTuple, EachOnce] | None = None


class Site(FarmTable):
    """A farm or station location: where a day begins, and which checks its readings meet."""

    id: Id
    name: Name
    timezone: Zone
    utc_offset: UtcOffset | None = None
    latitude: Latitude
    longitude: Longitude
    elevation_m: Annotated[float, Field(ge=-500, le=9000)] | None = None
    district: str | None = None
    checks: Id = "standard"
    use_suspect: bool = False
    study_only: bool = False
    silent_factor: SilentFactor | None = None
    forecast: Forecast | None = None


class ProbeUse(FarmTable):
    """A probe that serves a block from a day on, with all others of that day."""

    probe: ProbeName
    valid_from: date


ProbeChoice = Annotated[
    Annotated[ProbeName, Tag(PLAIN)] | Annotated[ProbeUse, Tag(TABLE)], choose_form
]


class Block(FarmTable):
    """A vineyard block; without `probes` every probe of its site serves it.

    The probes of a day are all those with the latest `valid_from` that is not after it. `borrow`
    says whether a block without any borrows from its neighbours: unless it is false; where it is
    true, without `probes` none serves it.
    """

    id: Id
    site: str
    name: Name
    root_zone_cm: RootZone = (15.0, 45.0)
    weights: Literal["even", "roots"] = "even"
    rule: Id = GRAPE_PHYLLOXERA.name
    probes: Annotated[tuple[ProbeChoice, ...], AsTuple, EachOnce] | None = None
    borrow: bool | None = None
    carry: bool = False
    diffusivity_mm2_s: Annotated[float, Field(ge=0.05, le=2.0)] | None = None
    latitude: Latitude | None = None
    longitude: Longitude | None = None
    row_spacing_m: Spacing | None = None
    vine_spacing_m: Spacing | None = None
    row_azimuth_deg: Annotated[float, Field(ge=0, lt=360)] | None = None
    rows_counted: Literal["right", "left"] | None = None
    first_vine: Annotated[tuple[Latitude, Longitude], AsTuple] | None = None
    planted: Annotated[int, Field(ge=1800, le=2200)] | None = None
    rootstock: Name | None = None
    vines: Annotated[int, Field(ge=1, le=1_000_000)] | None = None

    @field_validator("diffusivity_mm2_s")
    @classmethod
    def _check_diffusivity(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and not info.data.get("carry"):
            raise ValueError("is of use only where a block is carried; write carry = true as well")
        return value

    @property
    def basis(self) -> list[Use]:
        """The probes it names, in order: from which day on, of which logger, at which depth."""
        return sorted(
            (FROM_FIRST_READING, *split_probe_name(choice))
            if isinstance(choice, str)
            else (choice.valid_from, *split_probe_name(choice.probe))
            for choice in self.probes or ()
        )


def probe_choice(valid_from: date, logger: str, depth_cm: float) -> str | ProbeUse:
    """Return how a block names a probe, shortest where it serves it from the first reading."""
    name = probe_name(logger, depth_cm)
    is_plain = valid_from == FROM_FIRST_READING
    return name if is_plain else ProbeUse(probe=name, valid_from=valid_from)


class Station(FarmTable):
    """A station of a public feed; stations.FEED_KEYS has the keys that its feed needs and takes."""

    id: Id
    site: str
    feed: Literal["crn-hourly", "crn-daily", "crn-5min", "awdb", "sensorthings", "plain"]
    station: Name | None = None
    wban: Annotated[str, Field(pattern=r"^[0-9]{5}$")] | None = None
    elements: Annotated[tuple[Element, ...], AsTuple, EachOnce] | None = None
    utc_offset: UtcOffset | None = None
    url: Annotated[str, Field(pattern=r"^https?://[^\s/]")] | None = None
    datastreams: dict[str, Depth] | None = None
    layout: str | None = None
    records: Name | None = None
    interval_min: Annotated[float, Field(gt=0, le=1440)] | None = None
    every_min: Annotated[int, Field(ge=5, le=44640)] = 360
    first_day: date | None = None
    allow_hosts: Annotated[tuple[Name, ...], AsTuple, EachOnce] | None = None
    silent_factor: SilentFactor | None = None


class Thermometer(FarmTable):
    """A soil thermometer that is read by hand; probes.hand_days says what a reading becomes."""

    id: Id
    site: str
    name: Name
    depths_cm: Annotated[tuple[Depth, ...], AsTuple, EachOnce]
    unit: Literal["F", "C"] | None = None
    hour_corrections_c: dict[str, dict[str, Annotated[float, Field(ge=-15, le=15)]]] = Field(
        default_factory=dict
    )
    error_c: Annotated[float, Field(gt=0, le=10)] | None = None

    @field_validator("hour_corrections_c")
    @classmethod
    def _check_corrections(
        cls, corrections_c: dict[str, dict[str, float]], info: ValidationInfo
    ) -> dict[str, dict[str, float]]:
        depths = [value_text(depth_cm) for depth_cm in info.data.get("depths_cm", ())]
        for depth, of_depth in corrections_c.items():
            if depths and depth not in depths:
                raise ValueError(f"no such depth; write {one_of(depths, depth)}")
            for hour in of_depth:
                if hour not in _HOURS:
                    raise ValueError(f"{value_text(hour)} is no hour of the day; write 0 to 23")
        return corrections_c


class Recipient(FarmTable):
    """Someone who is told about blocks, and those of sites and districts; who names none: all."""

    name: Name
    role: Literal["grower", "researcher", "coordinator"]
    email: Email | None = None
    phone: Phone | None = None
    channels: Annotated[tuple[Literal["mail", "sms"], ...], AsTuple, EachOnce]
    language: Literal["en", "es"] = "en"
    unit: Literal["F", "C"] = "F"
    hour: Annotated[int, Field(ge=0, le=23)] = 7
    quiet: Quiet | None = None
    blocks: Ids | None = None
    sites: Ids | None = None
    districts: Ids | None = None

    @property
    def scope(self) -> list[tuple[str, str]]:
        """What they name: of which kind, and its id."""
        return [(kind, one) for kind in SCOPES for one in getattr(self, kind) or ()]

    @field_validator("channels")
    @classmethod
    def _check_channels(cls, channels: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
        for channel, address in (("mail", "email"), ("sms", "phone")):
            if channel in channels and info.data.get(address, "invalid") is None:
                raise ValueError(f"{value_text(channel)} needs an address; add the key {address}")
        return channels


TABLES: Mapping[str, type[FarmTable]] = {
    "organisation": Organisation,
    "district": District,
    "site": Site,
    "checks": CheckTable,
    "rule": RuleTable,
    "block": Block,
    "layout": LayoutTable,
    "logger": Logger,
    "station": Station,
    "thermometer": Thermometer,
    "recipient": Recipient,
}


@dataclass(frozen=True)
class Farm:
    """A farm file, or the store seen as one: tables by id, some and recipients by name.

    organisation : None only in a store before its first set-up
    """

    organisation: Organisation | None = None
    district: Mapping[str, District] = field(default_factory=dict)
    site: Mapping[str, Site] = field(default_factory=dict)
    checks: Mapping[str, CheckTable] = field(default_factory=dict)
    rule: Mapping[str, RuleTable] = field(default_factory=dict)
    block: Mapping[str, Block] = field(default_factory=dict)
    layout: Mapping[str, LayoutTable] = field(default_factory=dict)
    logger: Mapping[str, Logger] = field(default_factory=dict)
    station: Mapping[str, Station] = field(default_factory=dict)
    thermometer: Mapping[str, Thermometer] = field(default_factory=dict)
    recipient: Mapping[str, Recipient] = field(default_factory=dict)

    def tables(self, kind: str) -> Mapping[str, Any]:
        """Return the tables of one kind by key; the organisation as the one without a key."""
        if kind == "organisation":
            return {} if self.organisation is None else {"": self.organisation}
        return getattr(self, kind)
