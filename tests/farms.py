"""Farms for tests: invented names, one site, one logger, one block, one recipient."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import Engine

from service.farm.apply import apply_farm
from service.farm.changes import Change
from service.farm.export import farm_from_store
from service.farm.models import Farm
from service.farm.read import farm_from_tables
from service.store.engine import reading, writing

SET_UP_AT = datetime(2026, 3, 1, 12, tzinfo=UTC)

SOUTH = """
[organisation]
name = "Merrin Valley Growers"

[[district]]
id = "merrin"
name = "Merrin Valley"

[[site]]
id = "upper"
name = "Upper Merrin"
timezone = "Australia/Sydney"
latitude = -33.4
longitude = 149.6
elevation_m = 720
district = "merrin"
"""

NORTH = """
[organisation]
name = "Alder Bench Growers"

[[district]]
id = "alder"
name = "Alder Bench"

[[site]]
id = "upper"
name = "Upper Alder"
timezone = "America/Los_Angeles"
latitude = 45.1
longitude = -123.2
elevation_m = 120
district = "alder"
"""

REST = """
[[block]]
id = "terrace-7"
site = "upper"
name = "Terrace 7"

[[logger]]
id = "u1"
site = "upper"
layout = "plain"

[[recipient]]
name = "Ada Example"
role = "grower"
email = "ada@example.org"
channels = ["mail"]
"""

STATION = """
[[station]]
id = "b1"
site = "upper"
feed = "crn-hourly"
station = "XX_Low_Bench_3_N"
wban = "03047"
"""

RULE = """
[rule.early]
spring_opens_f = 62
"""

CHECKS = """
[checks.shallow.spike]
suspect_c = 5.0
"""

THERMOMETER = """
[[thermometer]]
id = "h1"
site = "upper"
name = "Terrace thermometer"
depths_cm = [30]
unit = "F"
"""

STATION_ELSEWHERE = f"""
[[site]]
id = "bench"
name = "Low Bench"
timezone = "America/Los_Angeles"
latitude = 45.2
longitude = -123.2
elevation_m = 260
{STATION.replace("upper", "bench")}"""


def farm_text(
    *,
    north: bool = False,
    unit: str = "C",
    depths_cm: Sequence[float] = (15, 30, 45),
    clock: str = "",
    interval_min: float = 60,
    more: str = "",
) -> str:
    """Return a valid farm file: site "upper", block "terrace-7", logger "u1", layout "plain".

    A file of the layout has the header time,T15,T30,T45 (a column a depth) and stamps like
    2025-10-02 09:00, the end of the hour, by `clock` (default: the site's standard time).
    """
    clock = clock or ("UTC-08:00" if north else "UTC+10:00")
    columns = ", ".join(f'"T{depth_cm:g}" = {depth_cm:g}' for depth_cm in depths_cm)
    layout = f"""
[layout.plain]
clock = "{clock}"
time = "time"
time_format = "%Y-%m-%d %H:%M"
stamp = "end"
interval_min = {interval_min:g}
unit = "{unit}"
columns = {{ {columns} }}
"""
    return "\n".join([NORTH if north else SOUTH, REST, layout, more])


ONE_OF_TWO = farm_text(depths_cm=[15]).replace(
    'name = "Terrace 7"', 'name = "Terrace 7"\nprobes = ["u1:15"]'
)
TWO_BLOCKS = f"""{ONE_OF_TWO}
[[block]]
id = "ledge"
site = "upper"
name = "Ledge"
probes = ["u1:15"]
"""


def set_up(engine: Engine, text: str, *, retire: bool = False) -> list[Change]:
    """Apply the text of a farm file."""
    farm = farm_from_tables(tomllib.loads(text))
    with writing(engine) as connection:
        return apply_farm(connection, farm, SET_UP_AT, retire)


def stored_farm(engine: Engine) -> Farm:
    """Return what is active."""
    with reading(engine) as connection:
        return farm_from_store(connection)


def news(changes: list[Change]) -> list[tuple[str, str, str]]:
    """Return what, table and key of all that did not stay as it was."""
    return [(c.what, c.table, c.key) for c in changes if c.what != "unchanged"]
