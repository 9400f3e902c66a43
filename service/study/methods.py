"""How a comparison was made, in words, and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any

from alerts.bounds import SHIFT
from alerts.rules import GRAPE_PHYLLOXERA, ORIGINS, WindowRule
from alerts.study.estimates import LEAST_SEASONS
from probes.units import c_to_f

REFERENCES = {
    "FISHER-2003": "Fisher J.R., Albrecht M.A., Chitkowski R.L. 2003, ESA Annual Meeting display "
    "D0222",
    "IOOS-QARTOD": "IOOS, Manual for Real-Time Quality Control of In-situ Temperature and Salinity "
    "Data, v2.0, 2015, doi 10.7289/V5V40SD4",
    "MANN-1945": "Mann H.B. 1945, Econometrica 13:245-259",
    "SEN-1968": "Sen P.K. 1968, J. Am. Stat. Assoc. 63:1379-1389",
    "TURNBULL-1976": "Turnbull B.W. 1976, J. R. Stat. Soc. B 38:290-295",
    "UC-PHYLLOXERA": "University of California ANR, Grape Pest Management Guidelines, Grape "
    "Phylloxera",
}
"""What reports cite, as tests/SOURCES.md has it."""

_LISTED = [
    one.name
    for one in fields(WindowRule)
    if one.name not in ("name", "tolerance_c") and not one.name.startswith("degree_days")
]


def tell_methods(frame: Any, accuracy: str) -> Iterator[str]:
    """Yield how a comparison was made, in paragraphs.

    frame : as service.study.windows.compare gives it
    accuracy : standard error of a probe, with its unit
    """
    yield (
        f"Soil temperatures at {frame['site'].nunique()} sites were checked and flagged as "
        "[IOOS-QARTOD] has it, readings that failed left out, suspect ones too unless a site's "
        "settings say otherwise, and averaged by day of local standard time. A day counts with "
        "three quarters of its hours and no gap of more than three."
    )
    yield (
        "A window opens and closes by R, the mean of a day and those before it, mean_days "
        "together, of which mean_needs must be there. Spring opens from spring_from on, on the "
        "first day with R at spring_opens_c or above; where no day of the season was below it "
        "before, its start was not seen, and it opens only up to unseen_until and with R at most "
        "unseen_max_c. Spring is over spring_days after it first opened. Fall opens from fall_from "
        "on, once R lies fall_drop_c below the highest of the season. Either closes below "
        "cold_below_c and above hot_above_c, and opens again past these by margin_c. Seasons run "
        "from 1 January north and from 1 July south of the equator."
    )
    yield (
        "An opening that missing days hide is known between two days, and a season without one to "
        "the last day up to which all was seen. The day by which half of the seasons have opened "
        "is from Turnbull's estimate for events known between two points [TURNBULL-1976], which "
        "counts both; beside it stands how far it moves where every opening came as early, or as "
        "late, as gaps allow. Neither is an interval of confidence, for which seasons are too few. "
        "Trends are the median of slopes between seasons with its interval of 95 % [SEN-1968], "
        "tested, from both sides, by the order of seasons [MANN-1945], over openings known to the "
        f"day, {LEAST_SEASONS} or more; p is not corrected for how many places and thresholds are "
        "looked at, nor for seasons that resemble the one before. Places are compared within "
        "seasons in which both openings are known to the day, with Student's interval of 95 % of "
        "the mean difference; beside it stands how far that may be off with those that gaps hide."
    )
    if frame["opened_earliest"].notna().any():
        yield (
            f"Within errors: each series was judged again {SHIFT:.2f} standard errors warmer and "
            "colder, all year and in its yearly swing, so that four in five errors lie within. The "
            f"standard error of a probe was taken as {accuracy}."
        )


def list_rule(rule: WindowRule) -> Iterator[tuple[str, str, str]]:
    """Yield the numbers of a rule, with their values and origins."""
    for name in _LISTED:
        value = getattr(rule, name)
        is_known = value == getattr(GRAPE_PHYLLOXERA, name)
        yield name, _show_number(value), ORIGINS[name] if is_known else "as asked for here"


def show_limit(limit_c: float) -> str:
    """Return a temperature in both units."""
    return f"{round(c_to_f(limit_c), 6):g} °F ({limit_c:.4g} °C)"


def _show_number(value: Any) -> str:
    if isinstance(value, tuple):
        return "-".join(map(str, value)) if isinstance(value[0], int) else ", ".join(value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)
