"""The window rule: every number by which a scouting window opens and closes, with its origin."""

from __future__ import annotations

from dataclasses import dataclass

from probes.units import delta_f_to_c, f_to_c

MonthDay = tuple[int, int]


@dataclass(frozen=True)
class WindowRule:
    """One rule set. Temperatures [degC], dates as (month, day) north of the equator.

    South of the equator each date stands six months later and the season runs from 1 July.
    """

    name: str
    mean_days: int
    """Length of the trailing mean R. [days]"""
    mean_needs: int
    """Days with a value that R needs, its own day among them. [days]"""
    spring_opens_c: float
    spring_from: MonthDay
    unseen_until: MonthDay
    unseen_max_c: float
    hot_above_c: float
    cold_below_c: float
    spring_days: int
    """Spring is spent this many days after its first opening. [days]"""
    fall_from: MonthDay
    fall_drop_c: float
    margin_c: float
    tolerance_c: float
    """A limit is met within this much. [degC]"""


GRAPE_PHYLLOXERA = WindowRule(
    name="grape-phylloxera",
    mean_days=5,
    mean_needs=4,
    # common practice, no source; 60 °F and 18 °C stand in print for other events
    spring_opens_c=f_to_c(64.0),
    spring_from=(2, 1),  # ours: warm spells in winter are not spring
    unseen_until=(6, 30),  # ours
    unseen_max_c=f_to_c(72.0),  # ours
    hot_above_c=f_to_c(86.0),  # [FISHER-2003]
    cold_below_c=f_to_c(60.0),  # [UC-PHYLLOXERA]
    spring_days=42,  # common practice, no source
    fall_from=(8, 15),  # common practice, no source
    fall_drop_c=delta_f_to_c(3.6),  # common practice, no source
    margin_c=delta_f_to_c(1.0),  # ours: keeps a window from flapping
    tolerance_c=delta_f_to_c(1e-6),
)

RULES = {GRAPE_PHYLLOXERA.name: GRAPE_PHYLLOXERA}
