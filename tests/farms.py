"""Farm files for tests: invented names, one site, one logger, one block, one recipient."""

from __future__ import annotations

from collections.abc import Sequence

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
