"""Which places are held against which, and by how much they differ."""

from __future__ import annotations

from math import nan

import pandas as pd
import pytest

from service.study.summaries import PLACE, VARIANT, find_differences, pair_places

RULE = ("grape-phylloxera", 64.0, 17.8, 1.0, 5, "spring")
OPENED = {  # day of the season, of three seasons
    ("bench", "", 15.0): [100.0, 104.0, 102.0],
    ("bench", "", 30.0): [103.0, 107.0, 108.0],
    ("flat", "", 30.0): [113.0, 107.0, nan],
    ("bench", "upper-row", nan): [101.0, 105.0, 104.0],
    ("flat", "lower-row", nan): [111.0, 105.0, 114.0],
}


def frame_of(is_block: bool) -> pd.DataFrame:
    rows = [
        (*place, *RULE, 2020 + number, 90, day, day - 1)
        for place, days in OPENED.items()
        if bool(place[1]) == is_block
        for number, day in enumerate(days)
    ]
    return pd.DataFrame(
        rows, columns=[*PLACE, *VARIANT, "season", "asked_d", "opened_day", "after_day"]
    )


@pytest.mark.parametrize(
    ("is_block", "against", "found"),
    [
        # by hand: the means of the seasons that both have
        (False, "", [("bench", 30.0, 4.0, 3)]),
        (False, "bench", [("flat", 30.0, 5.0, 2)]),
        (True, "", []),
        (True, "upper-row", [("flat", nan, 20 / 3, 3)]),
    ],
)
def test_each_place_is_held_against_the_one_that_is_meant(is_block, against, found) -> None:
    frame = frame_of(is_block)
    differences = list(find_differences(frame, pair_places(frame, against)))
    shown = [
        (one.place[0], one.place[2], one.difference.mean, one.difference.seasons)
        for one in differences
        if one.difference
    ]
    assert shown == [pytest.approx(row, nan_ok=True) for row in found]


def test_what_is_not_there_is_said_with_what_is() -> None:
    with pytest.raises(LookupError, match=r"nothing of 'top' .* there are bench, flat"):
        pair_places(frame_of(is_block=False), "top")
