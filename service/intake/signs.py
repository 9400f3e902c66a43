"""Signs of a wrong clock or unit in a delivery, by what the store knows of its logger."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from sqlalchemy import Connection

from probes.clock_signs import ClockFacts, find_clock_signs
from probes.frames import LoggerFile
from probes.unit_signs import find_unit_sign
from service.farm.layouts import layout_from_spec
from service.store.clocks import fetch_place
from service.store.imports import fetch_arrivals
from service.store.loggers import Logger


def find_signs(
    connection: Connection, logger: Logger, source: str, file: LoggerFile, arrived_at: datetime
) -> list[str]:
    """Return the signs of a wrong clock or unit, each with its numbers and what to do.

    Who reads a thermometer by hand has a clock of their own, and none that runs on.
    """
    if source == "hand":
        return []
    place = fetch_place(connection, logger.id)
    of_layout = source == "file"  # elsewhere each stamp states its own offset
    layout = layout_from_spec(logger.layout_name, logger.layout_spec) if of_layout else None
    facts = ClockFacts(
        layout_name=logger.layout_name,
        clock=layout and layout.clock,
        stamp_to_end=layout.stamp_to_end if layout else np.timedelta64(0, "us"),
        interval_min=logger.interval_min,
        zone=place.timezone,
        longitude_deg=place.longitude_deg,
        depth_cm={
            probe.channel: probe.stretches[-1].depth_cm
            for probe in logger.probes
            if probe.stretches and probe.stretches[-1].until is None
        },
    )
    remedy = f"check unit in layout.{layout.name}" if layout else "check what the sender gives"
    return [
        *find_clock_signs(
            file, facts, arrived_at, fetch_arrivals(connection, logger.id, source, arrived_at)
        ),
        *find_unit_sign(file, facts.depth_cm, layout and layout.unit, remedy),
    ]
