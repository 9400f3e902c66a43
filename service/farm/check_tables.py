"""Thresholds of the farm file, [checks.NAME]: what differs from the checks they are based on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

from probes.checks import CHECKS, read_thresholds
from service.farm.values import FarmTable

Limits = dict[str, Any] | None


class CheckTable(FarmTable):
    """Which tests are made of a site's readings, and the thresholds that are not the default."""

    based_on: Literal["standard", "range-only"] = "standard"
    gross_range: Limits = None
    power_on: Limits = None
    spike: Limits = None
    rate_of_change: Limits = None
    flat_line: Limits = None
    attenuated: Limits = None
    climatology: Limits = None
    daily_range: Limits = None
    neighbours: Limits = None

    @property
    def limits(self) -> Mapping[str, Mapping[str, Any]]:
        """What it sets, by test."""
        return self.model_dump(exclude={"based_on"}, exclude_none=True)


def find_check_faults(table: CheckTable) -> Iterator[str]:
    """Yield what is wrong with the thresholds of a table."""
    for test, of_test in table.limits.items():
        if test not in CHECKS[table.based_on]:
            yield f'{test}: "{table.based_on}" makes no such check; take it out'
        try:
            read_thresholds({test: of_test})
        except ValueError as error:
            yield str(error)
