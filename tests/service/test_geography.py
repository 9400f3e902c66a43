"""Distances between places."""

from __future__ import annotations

import pytest

from service.geography import find_distance_km


@pytest.mark.parametrize(
    ("places", "expected_km"),
    [
        ((45.0, -123.0, 45.0, -123.0), 0.0),
        # by hand: a degree of latitude is 2 pi 6371 / 360 km
        ((45.0, -123.0, 46.0, -123.0), 111.195),
        # by hand: a degree of longitude at 60 degrees is half of one at the equator
        ((0.0, 179.5, 0.0, -179.5), 111.195),
        ((60.0, 10.0, 60.0, 10.01), 0.55597),
        # by hand: half the way round
        ((90.0, 0.0, -90.0, 0.0), 20015.087),
    ],
)
def test_the_distance_of_two_places(places: tuple[float, ...], expected_km: float) -> None:
    assert find_distance_km(*places) == pytest.approx(expected_km, rel=1e-5)  # [km]
