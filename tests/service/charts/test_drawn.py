"""A chart shows what its facts say, in the unit and the words of its reader."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image

from alerts.bounds import Bounds, DateRange
from alerts.chart import BlockChart, word_chart
from alerts.colours import DAY as INKS
from alerts.outlook.fan import Fan
from probes.units import Unit, f_to_c
from service.charts.drawn import draw_png, specify
from service.charts.rows import find_rows
from tests.charts import DAYS, make_chart


def rows(name: str, chart: BlockChart | None = None, unit: Unit = "F") -> list[dict[str, Any]]:
    chart = chart or make_chart()
    return find_rows(chart, word_chart(chart, "en", unit), unit)[name]


def day_of(ms: int) -> date:
    return datetime.fromtimestamp(ms / 1000, UTC).date()


def parts(specification: dict[str, Any], key: str) -> list[Any]:
    """Return every value under a key, wherever in a specification."""
    found = []
    for name, value in specification.items():
        found += [value] if name == key else []
        for inner in value if isinstance(value, list) else [value]:
            found += parts(inner, key) if isinstance(inner, dict) else []
    return found


@pytest.fixture(scope="module")
def specification() -> dict[str, Any]:
    chart = make_chart()
    return specify(chart, word_chart(chart, "en", "F"), "F")


def test_the_readers_unit_stands_left_and_the_other_right_on_one_scale(specification) -> None:
    axes = {
        y["axis"]["orient"]: (y["axis"]["title"], *y["scale"]["domain"])
        for y in parts(specification, "y")
        if "axis" in y
    }
    assert axes["left"][0] == "°F"
    assert axes["right"][0] == "°C"
    assert f_to_c(np.array(axes["left"][1:])) == pytest.approx(np.array(axes["right"][1:]))


def test_a_gap_stays_a_gap() -> None:
    mean_c = make_chart().mean_c.copy()
    mean_c[30:40] = np.nan
    found = [row["temp"] for row in rows("root zone", make_chart(mean_c=mean_c))][: DAYS.size]
    assert [at for at, temp in enumerate(found) if temp is None] == list(range(30, 40))


def test_estimated_days_are_a_line_of_their_own_that_meets_the_other() -> None:
    chart = make_chart(estimated=np.isin(np.arange(DAYS.size), range(50, 60)))
    found = rows("root zone", chart)
    dashed = [row["day"] for row in found if "estimated" in row["name"] and row["temp"] is not None]
    # by hand: from the last measured day before it, 12 July + 49 days, to its own last
    assert [day_of(ms) for ms in (dashed[0], dashed[-1])] == [date(2025, 8, 30), date(2025, 9, 9)]
    assert len(dashed) == 11


def test_what_is_open_what_may_be_and_what_is_likely_are_shaded_apart() -> None:
    shades = [(day_of(row["day"]), day_of(row["end"]), row["shade"]) for row in rows("spans")]
    assert shades == [
        (date(2025, 9, 30), date(2025, 10, 4), 0.25),
        (date(2025, 10, 4), date(2025, 10, 11), 0.5),
        (date(2025, 10, 10), date(2025, 11, 15), 0.25),
    ]


@pytest.mark.parametrize(
    ("opened", "closed", "shades"),
    [
        pytest.param(
            DateRange(date(2025, 6, 1), date(2025, 6, 3)),
            DateRange(date(2025, 8, 1), date(2025, 8, 5)),
            [("2025-07-12", "2025-08-01", 0.5), ("2025-08-01", "2025-08-05", 0.25)],
            id="it opened before the first day",
        ),
        pytest.param(
            DateRange(date(2025, 9, 20), None),
            DateRange(date(2025, 10, 5), None),
            [("2025-09-20", "2025-10-11", 0.25)],
            id="within the error it may never have opened",
        ),
    ],
)
def test_a_window_is_shaded_as_surely_as_its_dates_are_known(opened, closed, shades) -> None:
    bounds = [Bounds(opened, closed, may_pause=False)]
    found = rows("spans", make_chart(bounds=bounds, expected=None))
    assert [
        (f"{day_of(row['day'])}", f"{day_of(row['end'])}", row["shade"]) for row in found
    ] == shades


def test_a_chart_without_readings_says_so() -> None:
    empty = make_chart(mean_c=np.full(DAYS.size, np.nan), depths_c={}, fan=None)
    assert rows("outlook", empty) == [{"word": "no readings"}]
    assert rows("outlook", make_chart(fan=None)) == []


def test_limits_are_named_in_the_readers_unit_and_heat_only_when_near() -> None:
    assert [row["word"] for row in rows("limits", unit="C")] == [
        "opens at 17.8 °C", "too cold below 15.6 °C",
    ]  # fmt: skip
    hot = make_chart(mean_c=f_to_c(np.linspace(70.0, 84.0, DAYS.size)))
    assert rows("limits", hot)[-1] == {"temp": 86.0, "word": "too hot above 86 °F", "below": True}


def test_the_fan_begins_at_the_end_of_the_line() -> None:
    first, *_, last = rows("fan")
    assert (day_of(first["day"]), first["low"], first["high"]) == (date(2025, 10, 10), 66.0, 66.0)
    assert (last["low"], last["middle"], last["high"]) == (65.0, 70.0, 75.0)


def test_a_fan_after_missing_days_stands_alone() -> None:
    mean_c = make_chart().mean_c.copy()
    mean_c[-3:] = np.nan
    assert day_of(rows("fan", make_chart(mean_c=mean_c))[0]["day"]) == date(2025, 10, 11)


def test_a_fan_that_begins_before_the_days_shown_stays_within_the_frame() -> None:
    chart = make_chart(mean_c=np.full(DAYS.size, np.nan), depths_c={}, spans=[])
    fan = chart.fan
    assert fan is not None
    days = np.arange(DAYS[0] - 60, fan.days[-1] + 1)
    long = Fan(days, *(np.resize(one, days.size) for one in (fan.low_c, fan.middle_c, fan.high_c)))
    widths = []
    for one in (chart, replace(chart, fan=long)):
        png = draw_png(one, word_chart(one, "en", "F"), "F")
        with Image.open(BytesIO(png)) as picture:
            widths.append(picture.width)
    assert widths[0] == widths[1]


def test_a_chart_without_outlook_depths_and_readings_can_be_drawn() -> None:
    nothing = make_chart(
        mean_c=np.full(DAYS.size, np.nan), depths_c={}, spans=[], fan=None, expected=None
    )
    assert draw_png(nothing, word_chart(nothing, "en", "F"), "F").startswith(b"\x89PNG")


def test_a_picture_is_small_sharp_and_shows_line_and_shade() -> None:
    chart = make_chart()
    png = draw_png(chart, word_chart(chart, "es", "C"), "C")
    assert len(png) < 60_000  # bytes: ours, so that a dozen make half a megabyte
    with Image.open(BytesIO(png)) as picture:
        assert 800 <= picture.width <= 900  # twice a phone's width
        dots = np.asarray(picture.convert("RGB")).astype(int)
    apart = np.abs(dots - list(bytes.fromhex(INKS.clay[1:]))).max(axis=2)
    assert (apart < 16).sum() > 1000  # dots of the thick line, 6 wide
