"""Where places lie to each other."""

from __future__ import annotations

from math import asin, cos, radians, sin, sqrt

EARTH_RADIUS_KM = 6371.0  # mean


def find_distance_km(
    latitude: float, longitude: float, other_latitude: float, other_longitude: float
) -> float:
    """Return the distance of two places along the surface, by the haversine formula."""
    north = radians(other_latitude - latitude)
    east = radians(other_longitude - longitude)
    shrink = cos(radians(latitude)) * cos(radians(other_latitude))
    chord = sin(north / 2) ** 2 + shrink * sin(east / 2) ** 2
    return 2 * EARTH_RADIUS_KM * asin(min(1.0, sqrt(chord)))
