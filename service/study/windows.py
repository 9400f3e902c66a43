"""What became of the windows of many places under several rule sets, as one table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from importlib.metadata import version
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from alerts.rules import WindowRule
from alerts.season import season_of, season_start
from alerts.study.seasons import KINDS, OUTCOMES, Seasons, find_seasons
from probes.units import c_to_f, delta_c_to_f
from service.study.days import StudyDays

if TYPE_CHECKING:
    import pandas as pd

COLUMNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "site": ("", "site, by its id in the farm file"),
        "block": ("", "block, by its id; empty for a depth of a site"),
        "depth_cm": ("cm", "depth; none for the root zone of a block"),
        "latitude": ("degree_north", "of the site or block, WGS 84"),
        "longitude": ("degree_east", "of the site or block, WGS 84"),
        "elevation_m": ("m", "above the sea; none where the farm file has none"),
        "rule": ("", "rule set, by its name"),
        "spring_opens_f": ("degF", "threshold at which spring opens"),
        "spring_opens_c": ("degC", "the same"),
        "margin_f": ("degF", "margin to open again"),
        "mean_days": ("d", "length of the trailing mean"),
        "season": ("", "its year; south of the equator the year in which it began"),
        "kind": ("", "spring or fall"),
        "outcome": ("", ", ".join(OUTCOMES)),
        "opened_on": ("", "day of the first opening; none where none was seen"),
        "after": ("", "last day on which it is known not to have opened yet"),
        "opened_day": ("d", "opened_on as a day of its season, 1 being the first"),
        "after_day": ("d", "after, likewise"),
        "opened_earliest": ("", "earliest day of opening within the errors of the temperatures"),
        "opened_latest": ("", "latest such day; none where within them it does not open"),
        "closed_on": ("", "first day on which it is no longer open, for good; none while open"),
        "closed_not_before": ("", "from when on it may have closed unseen; else closed_on"),
        "closed_earliest": ("", "earliest day of closing within the errors of the temperatures"),
        "closed_latest": ("", "latest such day; none where within them it stays open"),
        "open_d": ("d", "days on which it was open"),
        "stretches": ("", "how often it opened"),
        "seen_d": ("d", "days with a trailing mean, of asked_d"),
        "asked_d": ("d", "days on which it may open, up to the opening or the last that counts"),
    }
)
"""Each column with its unit and meaning."""

DAY_COLUMNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        **{name: COLUMNS[name] for name in ("site", "block", "depth_cm")},
        "day": ("", "day of the site's local standard time"),
        "mean_c": ("degC", "daily mean temperature"),
        "error_c": ("degC", "its standard error"),
    }
)
"""The same of daily means."""


def compare(
    study: StudyDays, rules: Sequence[WindowRule], as_of: date, *, bounds: bool = False
) -> pd.DataFrame:
    """Return what became of each window: a row for each place, rule, season, spring and fall.

    Parameters
    ----------
    bounds : bool
        Whether to find the earliest and latest days within the errors, which takes five times as
        long.

    Returns
    -------
    DataFrame
        COLUMNS, by place, rule, season and kind; their units and meanings in `attrs`. Seasons
        before the first and after the last reading of a place are left out.
    """
    import pandas as pd

    if not study.places:
        return _describe(pd.DataFrame(columns=list(COLUMNS)), as_of)
    error_c = study.error_c if bounds else None
    by_rule = find_seasons(study.mean_c, error_c, study.day, study.south, rules, as_of)
    places = pd.DataFrame([asdict(place) for place in study.places])
    places = places.astype({"depth_cm": "float64", "elevation_m": "float64"})
    ends = _find_ends(study)
    parts = [
        _make_frame(study, places, ends, found, rule)
        for rule, found in zip(rules, by_rule, strict=True)
    ]
    frame = pd.concat(parts, ignore_index=True)
    order = ["site", "block", "depth_cm", "rule", "spring_opens_c", "margin_f", "mean_days"]
    frame = frame.sort_values([*order, "season", "kind"], kind="stable", ignore_index=True)
    return _describe(frame, as_of)


def list_days(study: StudyDays) -> pd.DataFrame:
    """Return the days of places that have a value, a row each, by place and day."""
    import pandas as pd

    row, column = np.nonzero(~np.isnan(study.mean_c))
    places = [(one.site, one.block, one.depth_cm) for one in study.places]
    of_places = pd.DataFrame(places, columns=["site", "block", "depth_cm"])
    frame = of_places.astype({"depth_cm": "float64"}).iloc[row].reset_index(drop=True)
    frame = frame.assign(
        day=study.day[column],
        mean_c=study.mean_c[row, column],
        error_c=study.error_c[row, column],
    )
    frame.attrs |= _tell(DAY_COLUMNS)
    return frame


def _make_frame(
    study: StudyDays,
    places: pd.DataFrame,
    ends: NDArray[np.int64],
    found: Seasons,
    rule: WindowRule,
) -> pd.DataFrame:
    import pandas as pd

    begins, stops = ends[:, :, None, None]
    season = found.season[:, None]
    touched = np.broadcast_to((begins <= season) & (season <= stops), found.outcome.shape)
    row, column, kind = where = np.nonzero(touched)
    starts = np.array(
        [
            [np.datetime64(season_start(season, south)) for season in found.season.tolist()]
            for south in (False, True)
        ]
    )[study.south.astype(int)][row, column]
    as_found = (
        "opened_on", "after", "closed_on", "closed_not_before", "closed_earliest", "closed_latest",
        "open_d", "stretches", "seen_d", "asked_d",
    )  # fmt: skip
    of_window = {name: getattr(found, name)[where] for name in as_found}
    frame = places.iloc[row].reset_index(drop=True)
    return frame.assign(
        rule=rule.name,
        spring_opens_f=round(c_to_f(rule.spring_opens_c), 9),
        spring_opens_c=rule.spring_opens_c,
        margin_f=round(delta_c_to_f(rule.margin_c), 9),
        mean_days=rule.mean_days,
        season=found.season[column],
        kind=pd.Categorical.from_codes(kind, list(KINDS), ordered=True),
        outcome=pd.Categorical.from_codes(found.outcome[where], list(OUTCOMES)),
        **of_window,
        opened_day=_number(of_window["opened_on"], starts),
        after_day=_number(of_window["after"], starts),
        opened_earliest=found.earliest[where],
        opened_latest=found.latest[where],
    )[list(COLUMNS)]


def _number(on: NDArray[np.datetime64], starts: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Return days as days of their seasons, NaN where there is none."""
    return np.where(np.isnat(on), np.nan, (on - starts).astype(np.float64) + 1)


def _find_ends(study: StudyDays) -> NDArray[np.int64]:
    """Return the seasons of the first and of the last reading of each place, two rows.

    A place without any has its last before its first.
    """
    measured = ~np.isnan(study.mean_c)
    first = study.day[measured.argmax(axis=1)]
    last = study.day[study.day.size - 1 - measured[:, ::-1].argmax(axis=1)]
    ends = [
        [season_of(day, south) for day, south in zip(of.tolist(), study.south, strict=True)]
        for of in (first, last)
    ]
    return np.array(ends) - np.outer([0, 10_000], ~measured.any(axis=1))


def _describe(frame: pd.DataFrame, as_of: date) -> pd.DataFrame:
    frame.attrs |= {**_tell(COLUMNS), "as_of": as_of.isoformat()}
    return frame


def _tell(columns: Mapping[str, tuple[str, str]]) -> dict[str, object]:
    return {
        "units": {name: unit for name, (unit, _) in columns.items() if unit},
        "meanings": {name: meaning for name, (_, meaning) in columns.items()},
        "source": f"Digseason {version('digseason')}",
    }
