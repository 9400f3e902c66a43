"""The seasons of a comparison as ribbons: a picture for each site."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import count, groupby

import numpy as np
from numpy.typing import NDArray

from alerts.ribbon_svg import RibbonRow, draw_ribbons
from alerts.rules import WindowRule
from alerts.season import season_of
from alerts.season_days import see_season
from alerts.study.seasons import KINDS
from alerts.windows import Span, find_spans, trailing_mean
from service.showing import name_years
from service.study.days import Place, StudyDays
from service.study.words import show_days

MOST_ROWS = 24
"""That fit a page."""


def draw_sites(study: StudyDays, rule: WindowRule, as_of: date) -> Iterator[tuple[str, int, str]]:
    """Yield, for each site, the seasons of its places under a rule as SVG elements, their parts
    counted from 1."""
    if not study.places:
        return
    mean_c = trailing_mean(np.ascontiguousarray(study.mean_c.T), rule).T
    spans = find_spans(study.mean_c, study.day, study.south, rule, as_of)
    of_places = zip(study.places, mean_c, spans, strict=True)
    drawn = count()
    for site, of_site in groupby(of_places, lambda one: one[0].site):
        rows = [row for one in of_site for row in _list_seasons(study.day, *one, rule, as_of)]
        for part, first in enumerate(range(0, len(rows), MOST_ROWS), 1):
            some = rows[first : first + MOST_ROWS]
            svg = draw_ribbons(some, f"Seasons at {site}", "en", stem=f"s{next(drawn)}")
            yield site, part, svg


def _list_seasons(
    day: NDArray[np.datetime64],
    place: Place,
    mean_c: NDArray[np.float64],
    spans: Sequence[Span],
    rule: WindowRule,
    as_of: date,
) -> Iterator[RibbonRow]:
    south = place.latitude < 0
    measured = day[~np.isnan(mean_c) & (day <= np.datetime64(as_of))]
    if not measured.size:
        return
    first, last = (season_of(one, south) for one in (measured[0].item(), measured[-1].item()))
    for season in range(first, last + 1):
        days = see_season(spans, day, mean_c, season, south, rule, as_of)
        first_of = {one.kind: one for one in reversed(spans) if one.season == season}
        shown = ", ".join(
            f"{kind} {show_days(first_of[kind].not_before, first_of[kind].opened_on)}"
            for kind in KINDS
            if kind in first_of
        )
        name = place.block or f"{place.depth_cm:g} cm"
        yield RibbonRow(f"{name}, {name_years(season, south)}", days, shown)
