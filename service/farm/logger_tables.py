"""Loggers of the farm file, [[logger]]: where their probes lay, when their clock was wrong."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime
from itertools import pairwise
from typing import Annotated

from pydantic import Field, ValidationInfo, field_validator

from service.farm.text import value_text
from service.farm.values import (
    FROM_FIRST_READING,
    AsTuple,
    Depth,
    FarmTable,
    Id,
    ShiftText,
    SilentFactor,
)


class ProbeEntry(FarmTable):
    """One stretch of a probe's history: from a day on, or from the first reading.

    `until` is the first day on which it lies there no more; the next stretch ends it anyway.
    """

    column: str
    depth_cm: Depth
    valid_from: date = FROM_FIRST_READING
    until: date | None = None
    calibration_offset_c: Annotated[float, Field(ge=-10, le=10)] = 0.0

    @field_validator("until")
    @classmethod
    def _check_until(cls, until: date | None, info: ValidationInfo) -> date | None:
        first = info.data.get("valid_from")
        if until is not None and first is not None and until <= first:
            raise ValueError(
                f"does not lie after valid_from = {value_text(first)}; write the day on which it "
                "was taken out"
            )
        return until


class CorrectionEntry(FarmTable):
    """A time in which a clock was wrong, as it stamped then, and what is added to its stamps.

    `until` is the first stamp that is right again.
    """

    from_: datetime = Field(alias="from")
    until: datetime
    add: ShiftText

    @field_validator("until")
    @classmethod
    def _check_until(cls, until: datetime, info: ValidationInfo) -> datetime:
        first = info.data.get("from_")
        if first is None:
            return until
        if (first.tzinfo is None) != (until.tzinfo is None):
            raise ValueError("from and until go together, both with their offset or both without")
        if until <= first:
            raise ValueError(f"does not lie after from = {value_text(first)}; exchange the two")
        return until


class Logger(FarmTable):
    """A device; a column without entry in `probes` lies at its layout's depth from the start.

    A column whose last entry has an `until` need not be in the layout any more.
    """

    id: Id
    site: str
    layout: str
    probes: Annotated[tuple[ProbeEntry, ...], AsTuple] = ()
    clock_corrections: Annotated[tuple[CorrectionEntry, ...], AsTuple] = ()
    silent_factor: SilentFactor | None = None

    @field_validator("probes")
    @classmethod
    def _check_probes(cls, probes: tuple[ProbeEntry, ...]) -> tuple[ProbeEntry, ...]:
        starts = Counter((entry.column, entry.valid_from) for entry in probes)
        for (column, _), times in starts.items():
            if times > 1:
                raise ValueError(
                    f"two entries of column {value_text(column)} begin at once; "
                    "give each the day it is valid_from"
                )
        by_day = sorted(probes, key=lambda entry: (entry.column, entry.valid_from))
        for entry, following in pairwise(by_day):
            is_late = entry.until is not None and entry.until > following.valid_from
            if is_late and entry.column == following.column:
                raise ValueError(
                    f"an entry of column {value_text(entry.column)} ends on "
                    f"{value_text(entry.until)}, after the next one begins on "
                    f"{value_text(following.valid_from)}; leave out its until"
                )
        return probes
