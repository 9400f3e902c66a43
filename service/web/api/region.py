"""GET /api/region and /api/region/open-shares: how the districts of your blocks stand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from math import isnan
from typing import Annotated, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import Field

from alerts.advisories.figures import Group
from alerts.advisories.letter import tell_dates
from alerts.windows import Kind
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.pages import choose_language
from service.web.regions import Region, Regions


class GroupRecord(Record):
    """Some blocks, counted: each stands in one of the counts from `open` to `not_known`."""

    place: Annotated[int, Field(description="in the list, from 1")]
    of: Literal["region", "district", "height"]
    district: Annotated[str | None, Field(description="its id; empty for blocks of none")]
    name: Annotated[str | None, Field(description="of the district")]
    from_m: Annotated[int | None, Field(description="height above sea level, itself too [m]")]
    to_m: Annotated[int | None, Field(description="height above sea level, itself not [m]")]
    as_of: Annotated[date, Field(description="the last day that counted")]
    blocks: int
    open: int
    opening: Annotated[int, Field(description="likely to open within two weeks")]
    waiting: int
    resting: int
    over: int
    not_known: int
    opened_first: date | None
    opened_last: date | None
    closes_kind: Annotated[Kind | None, Field(description="the window that is open")]
    closes_first: Annotated[date | None, Field(description="likely not before")]
    closes_last: Annotated[date | None, Field(description="likely not after")]
    opens_kind: Annotated[Kind | None, Field(description="the window that is awaited")]
    opens_first: Annotated[date | None, Field(description="likely not before")]
    opens_last: Annotated[date | None, Field(description="likely not after")]
    may_not_open: Annotated[int, Field(description="that may not see that window at all")]
    coolest_c: Annotated[float | None, Field(description="trailing mean of a root zone [°C]")]
    warmest_c: Annotated[float | None, Field(description="trailing mean of a root zone [°C]")]
    text: Annotated[str, Field(description="the dates in your language")]


class OpenShareRecord(Record):
    """How many of the blocks of a district were open on a day."""

    day: date
    district: Annotated[str, Field(description="its name; empty for blocks of none")]
    blocks: int
    share_open: Annotated[
        float | None, Field(description="from 0 to 1, of those with readings; null: none has any")
    ]


def region_routes(regions: Regions) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["windows"])

    @routes.get("/region", response_model=list[GroupRecord], responses=LISTED)
    def list_groups(request: Request, who: Known, part: Part) -> Response:
        """Return your blocks counted: all, then by district, then by height."""
        region, after = regions.find(who.reach), part.find_number() or 0
        every = [*_count(region, choose_language(request))] if region else []
        records, next_key = part.cut(every[after:], lambda one: one.place)
        return part.answer(records, GroupRecord, next_key)

    @routes.get("/region/open-shares", response_model=list[OpenShareRecord], responses=LISTED)
    def list_shares(who: Known, part: Part) -> Response:
        """Return which share of your blocks was open this season, by day and district.

        `limit` is how many days.
        """
        region, after = regions.find(who.reach), part.find_start(date)
        every: list[date] = region.shares.days.tolist() if region else []
        days = [day for day in every if after is None or day > after]
        chosen, next_key = part.cut(days, lambda day: day)
        records = [*_share(region, chosen)] if region else []
        return part.answer(records, OpenShareRecord, next_key)

    return routes


def _count(region: Region, language: str) -> Iterator[GroupRecord]:
    figures = region.figures
    groups = [
        ({"of": "region"}, figures.region),
        *(
            ({"of": "district", "district": one.id, "name": one.name}, one.group)
            for one in figures.districts
        ),
        *(
            ({"of": "height", "from_m": one.from_m, "to_m": one.to_m}, one.group)
            for one in figures.bands
        ),
    ]
    for place, (named, group) in enumerate(groups, 1):
        known = {"district": None, "name": None, "from_m": None, "to_m": None} | named
        counted = _tell(group) | {"text": " ".join(tell_dates(group, language, figures.as_of))}
        yield GroupRecord.model_validate(
            {"place": place, "as_of": figures.as_of, **known, **counted}
        )


def _tell(group: Group) -> dict[str, object]:
    nothing = None, None
    counts = ("blocks", "open", "opening", "waiting", "resting", "over", "not_known")
    dates = {
        f"{name}_{end}": day
        for name in ("opened", "closes", "opens")
        for end, day in zip(("first", "last"), getattr(group, name) or nothing, strict=True)
    }
    return {
        **{name: getattr(group, name) for name in counts},
        **dates,
        "closes_kind": group.closes_kind,
        "opens_kind": group.opens_kind,
        "may_not_open": group.may_not_open,
        "coolest_c": group.coolest and group.coolest.mean_c,
        "warmest_c": group.warmest and group.warmest.mean_c,
    }


def _share(region: Region, days: Sequence[date]) -> Iterator[OpenShareRecord]:
    shares = region.shares
    at = {day: place for place, day in enumerate(shares.days.tolist())}
    for day in days:
        for district, open_then in shares.open.items():
            share = float(open_then[at[day]])
            yield OpenShareRecord(
                day=day,
                district=district,
                blocks=shares.blocks[district],
                share_open=None if isnan(share) else share,
            )
