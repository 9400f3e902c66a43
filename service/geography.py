"""Where places lie to each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

EARTH_RADIUS_KM = 6371.0  # mean
KM_PER_DEGREE = EARTH_RADIUS_KM * np.pi / 180  # of latitude


def find_distances_km(
    latitude: ArrayLike, longitude: ArrayLike, latitudes: ArrayLike, longitudes: ArrayLike
) -> NDArray[np.float64]:
    """Return the distances of places along the surface, by the haversine formula."""
    one, other = np.radians(latitude), np.radians(latitudes)
    north, east = other - one, np.radians(np.subtract(longitudes, longitude))
    chord = np.sin(north / 2) ** 2 + np.cos(one) * np.cos(other) * np.sin(east / 2) ** 2
    return 2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.minimum(1.0, chord)))


def find_distance_km(
    latitude: float, longitude: float, other_latitude: float, other_longitude: float
) -> float:
    """Return the distance of two places along the surface."""
    return float(find_distances_km(latitude, longitude, other_latitude, other_longitude))
