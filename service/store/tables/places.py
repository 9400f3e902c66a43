"""Where temperatures are taken and wanted: organisation, districts, sites, blocks, loggers, probes.

What is taken out of the farm file is retired, never deleted. A probe is one depth column (channel)
of a logger; its depth and calibration offset are valid from a date (probe_stretch), so that a
re-burial leaves the readings where they are.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Integer,
    Table,
    Text,
    UniqueConstraint,
)

from service.store.tables.base import metadata, retired
from service.store.types import UtcInstant

organisation = Table(
    "organisation",
    metadata,
    Column("id", Integer, primary_key=True),  # always 1
    Column("name", Text, nullable=False),
)

district = Table(
    "district",
    metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    retired(),
)

site = Table(
    "site",
    metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("timezone", Text, nullable=False),
    Column("utc_offset_min", Integer, nullable=False),  # local standard time, all year
    Column("latitude", Float, nullable=False),
    Column("longitude", Float, nullable=False),
    Column("elevation_m", Float),
    Column("district_id", ForeignKey("district.id")),
    Column("checks", Text, nullable=False),  # built in, or of the farm file
    Column("use_suspect", Boolean, nullable=False),
    retired(),
)

checks = Table(  # thresholds of the farm file
    "checks",
    metadata,
    Column("name", Text, primary_key=True),
    Column("spec", JSON, nullable=False),  # as in the farm file
    retired(),
)

rule = Table(  # a rule set of the farm file
    "rule",
    metadata,
    Column("name", Text, primary_key=True),
    Column("spec", JSON, nullable=False),  # as in the farm file
    retired(),
)

block = Table(
    "block",
    metadata,
    Column("id", Text, primary_key=True),
    Column("site_id", ForeignKey("site.id"), nullable=False),
    Column("name", Text, nullable=False),
    Column("root_zone_top_cm", Float, nullable=False),
    Column("root_zone_bottom_cm", Float, nullable=False),
    Column("weights", Text, nullable=False),  # "even" | "roots"
    Column("rule", Text, nullable=False),  # built in, or of the farm file
    Column("latitude", Float),
    Column("longitude", Float),
    Column("row_spacing_m", Float),
    Column("vine_spacing_m", Float),
    Column("row_azimuth_deg", Float),
    Column("planted", Integer),  # year
    Column("rootstock", Text),
    retired(),
)

block_probe = Table(  # a block's declared basis, anew from each date; none: its site's every probe
    "block_probe",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("valid_from", Date, primary_key=True),  # 0001-01-01: from the first reading
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("depth_cm", Float, primary_key=True),
)

block_carry = Table(  # a block whose probes are too shallow is carried down to its root zone
    "block_carry",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("diffusivity_mm2_s", Float),  # None: that of no known soil
)

block_borrow = Table(  # a block's own word on borrowing from its neighbours; no row: it does
    "block_borrow",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("borrows", Boolean, nullable=False),
)

block_vines = Table(  # how many vines a block has, where that was counted
    "block_vines",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("vines", Integer, nullable=False),
)

block_numbering = Table(  # how the vines of a block are numbered, where it says
    "block_numbering",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("rows_counted", Text),  # "right" | "left" of the way in which vines are; None: right
    Column("first_latitude", Float),  # of vine 1 in row 1
    Column("first_longitude", Float),
)

layout = Table(
    "layout",
    metadata,
    Column("name", Text, primary_key=True),
    Column("spec", JSON, nullable=False),  # as in the farm file
    retired(),
)

logger = Table(
    "logger",
    metadata,
    Column("id", Text, primary_key=True),
    Column("kind", Text, nullable=False, default="files"),  # "files" | "station" | "hand"
    Column("site_id", ForeignKey("site.id"), nullable=False),
    Column("layout_name", ForeignKey("layout.name")),  # of kind "files" only
    retired(),
)

station = Table(  # a logger of kind "station": a public feed brings its readings
    "station",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("feed", Text, nullable=False),
    Column("spec", JSON, nullable=False),  # as in the farm file
)

feed_state = Table(  # how far a station's feed has been fetched, and how that went
    "feed_state",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("fetched_at", UtcInstant),  # the last fetch that went well
    Column("attempted_at", UtcInstant),  # the last fetch that was due
    Column("validators", JSON, nullable=False),  # what it was asked since; URL -> headers
    Column("failing_since", UtcInstant),
    Column("failure", Text),
)

hand_thermometer = Table(  # a logger of kind "hand": a soil thermometer
    "hand_thermometer",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("name", Text, nullable=False),
    Column("unit", Text),  # "F" | "C"; None: each reading says its own
    Column("hour_corrections_c", JSON, nullable=False),  # depth -> hour -> added: DayFromInstant
    Column("error_c", Float),  # of a day's value; None: by depth and hour
)

clock_correction = Table(  # a logger's clock was wrong for a while: what to add to its stamps
    "clock_correction",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("stamped_from", UtcInstant, primary_key=True),  # as stamped, the layout's clock to UTC
    Column("stamped_until", UtcInstant, nullable=False),
    Column("add_s", Integer, nullable=False),
)

probe = Table(
    "probe",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("logger_id", ForeignKey("logger.id"), nullable=False),
    Column("channel", Text, nullable=False),  # header of its column
    UniqueConstraint("logger_id", "channel"),
)

site_forecast = Table(  # a site whose air is forecast, how far that was fetched, how it went
    "site_forecast",
    metadata,
    Column("site_id", ForeignKey("site.id"), primary_key=True),
    Column("spec", JSON, nullable=False),  # as in the farm file
    Column("attempted_at", UtcInstant),
    Column("fetched_at", UtcInstant),
    Column("failing_since", UtcInstant),
    Column("failure", Text),
)

air_forecast = Table(  # what was forecast at a site, days of its standard time
    "air_forecast",
    metadata,
    Column("site_id", ForeignKey("site.id"), primary_key=True),
    Column("issued_on", Date, primary_key=True),
    Column("day", Date, primary_key=True),
    Column("air_c", Float, nullable=False),  # mean of the day
)

site_for_study = Table(  # a site that is compared and shown, and of which nobody is told
    "site_for_study",
    metadata,
    Column("site_id", ForeignKey("site.id"), primary_key=True),
)

site_silence = Table(  # how many times their usual interval the loggers of a site may be late
    "site_silence",
    metadata,
    Column("site_id", ForeignKey("site.id"), primary_key=True),
    Column("silent_factor", Float, nullable=False),
)

logger_silence = Table(  # the same of one logger or station
    "logger_silence",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("silent_factor", Float, nullable=False),
)

probe_stretch = Table(
    "probe_stretch",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("valid_from", Date, primary_key=True),  # 0001-01-01: from the first reading
    Column("depth_cm", Float, nullable=False),
    Column("calibration_offset_c", Float, nullable=False),  # added to the raw value
    Column("until", Date),  # from that day on it lies there no more; None: until the next stretch
)
