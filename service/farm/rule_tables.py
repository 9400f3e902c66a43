"""Rule sets of the farm file, [rule.NAME]: keys in the reader's unit, and the rule they make."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from alerts.rules import GRAPE_PHYLLOXERA, RULES, MonthDay, WindowRule
from probes.units import delta_f_to_c, f_to_c
from service.farm.values import AsTuple, EachOnce, FarmTable, Id

STEPS = ("fall_drop_c", "margin_c", "degree_days_sum_c")  # these know nothing of 32 °F
_DAYS = ("spring_from", "unseen_until", "fall_from", "degree_days_since")


def parse_month_day(text: str) -> MonthDay:
    """Return the month and day that "02-01" names; 29 February is in no common year."""
    if re.fullmatch(r"[0-9]{2}-[0-9]{2}", text):
        try:
            day = date.fromisoformat(f"2025-{text}")
        except ValueError:
            pass
        else:
            return day.month, day.day
    raise ValueError('no day of every year; write month and day of the north, such as "02-01"')


def _check_month_day(text: str) -> str:
    parse_month_day(text)
    return text


Day = Annotated[str, AfterValidator(_check_month_day)] | None
LimitF = Annotated[float, Field(ge=14, le=140)] | None
LimitC = Annotated[float, Field(ge=-10, le=60)] | None
StepF = Annotated[float, Field(ge=0, le=36)] | None
StepC = Annotated[float, Field(ge=0, le=20)] | None
Sum = Annotated[float, Field(gt=0, le=10_000)] | None
Days = Annotated[int, Field(ge=1, le=31)] | None


class RuleTable(FarmTable):
    """What a rule set has other than the one it is based on; a temperature in one unit of two."""

    based_on: Id = GRAPE_PHYLLOXERA.name
    windows: Annotated[tuple[Literal["spring", "fall"], ...], AsTuple, EachOnce] | None = None
    mean_days: Days = None
    mean_needs: Days = None
    spring_opens_f: LimitF = None
    spring_opens_c: LimitC = None
    spring_from: Day = None
    unseen_until: Day = None
    unseen_max_f: LimitF = None
    unseen_max_c: LimitC = None
    hot_above_f: LimitF = None
    hot_above_c: LimitC = None
    cold_below_f: LimitF = None
    cold_below_c: LimitC = None
    spring_days: Annotated[int, Field(ge=1, le=365)] | None = None
    fall_from: Day = None
    fall_drop_f: StepF = None
    fall_drop_c: StepC = None
    margin_f: StepF = None
    margin_c: StepC = None
    degree_days: Literal["condition", "information"] | None = None
    degree_days_lower_f: LimitF = None
    degree_days_lower_c: LimitC = None
    degree_days_upper_f: LimitF = None
    degree_days_upper_c: LimitC = None
    degree_days_since: Day = None
    degree_days_sum_f: Sum = None
    degree_days_sum_c: Sum = None

    @field_validator("*")
    @classmethod
    def _check_one_unit(cls, value: Any, info: ValidationInfo) -> Any:
        name = info.field_name or ""
        other = f"{name.removesuffix('_c')}_f"
        if name.endswith("_c") and value is not None and info.data.get(other) is not None:
            raise ValueError(f"{other} is there too; write one of the two")
        return value

    @property
    def changes(self) -> dict[str, Any]:
        """What it sets, by the fields of WindowRule. [degC, days]"""
        changes: dict[str, Any] = {}
        for key, value in self.model_dump(exclude={"based_on"}, exclude_none=True).items():
            name = f"{key.removesuffix('_f')}_c" if key.endswith("_f") else key
            if name != key:
                value = delta_f_to_c(value) if name in STEPS else f_to_c(value)
            elif key in _DAYS:
                value = parse_month_day(value)
            changes[name] = value
        return changes


def make_rules(tables: Mapping[str, RuleTable]) -> dict[str, WindowRule]:
    """Return all rule sets by name, those that are built in among them.

    One whose base is not there, or leads back to itself, is left out.
    """
    rules = dict(RULES)
    waiting = {name: table for name, table in tables.items() if name not in rules}
    while ready := [name for name, table in waiting.items() if table.based_on in rules]:
        for name in ready:
            table = waiting.pop(name)
            rules[name] = replace(rules[table.based_on], name=name, **table.changes)
    return rules


def find_origins(name: str, tables: Mapping[str, RuleTable]) -> dict[str, str]:
    """Return, by the fields of WindowRule, the rule set of the farm file that each is set in."""
    if name not in tables:
        return {}
    table = tables[name]
    set_here = dict.fromkeys(table.changes, name)
    return {**find_origins(table.based_on, tables), **set_here}
