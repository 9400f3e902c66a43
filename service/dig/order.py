"""From the store to the order in which crews and machines go to blocks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from alerts.dig.order import Stop, Visit, order_blocks
from alerts.dig.status import BlockStatus
from service.geography import find_distances_km
from service.store.blocks import Block

Place = tuple[float, float]
"""Latitude and longitude. [degrees]"""


def order_visits(
    blocks: Sequence[Block],
    statuses: Mapping[str, BlockStatus],
    start: Place | None = None,
    alike: int = 1,
    places: Mapping[str, Place] | None = None,
) -> list[Visit]:
    """Return blocks in their order; `places`: where they are taken to lie, by id, if not there."""
    if not blocks:
        return []
    at = [(places or {}).get(one.id, (one.latitude, one.longitude)) for one in blocks]
    latitudes, longitudes = np.array(at).T
    between_km = find_distances_km(latitudes[:, None], longitudes[:, None], latitudes, longitudes)
    start_km = find_distances_km(*start, latitudes, longitudes) if start else None
    stops = [Stop(one.id, one.site_id, statuses[one.id]) for one in blocks]
    return order_blocks(stops, between_km, start_km, alike)


def read_place(text: str) -> Place | None:
    """Return the place of "-34.02, 149.96"; None: there is none such."""
    try:
        latitude, longitude = map(float, text.split(","))
    except ValueError:
        return None
    is_there = abs(latitude) <= 90 and abs(longitude) <= 180
    return (latitude, longitude) if is_there else None
