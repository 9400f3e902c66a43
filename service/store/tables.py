"""Every table of the store.

A farm is organisation, districts, sites, blocks, layouts, loggers and recipients; what is taken
out of the farm file is retired, never deleted. A probe is one depth column (channel) of a logger;
its depth and calibration offset are valid from a date (probe_stretch), so that a re-burial leaves
the readings where they are.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
    and_,
)

from service.store.types import UtcInstant

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _retired() -> Column[object]:
    return Column("retired_at", UtcInstant)


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
    _retired(),
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
    _retired(),
)

checks = Table(  # thresholds of the farm file
    "checks",
    metadata,
    Column("name", Text, primary_key=True),
    Column("spec", JSON, nullable=False),  # as in the farm file
    _retired(),
)

rule = Table(  # a rule set of the farm file
    "rule",
    metadata,
    Column("name", Text, primary_key=True),
    Column("spec", JSON, nullable=False),  # as in the farm file
    _retired(),
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
    _retired(),
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

layout = Table(
    "layout",
    metadata,
    Column("name", Text, primary_key=True),
    Column("spec", JSON, nullable=False),  # as in the farm file
    _retired(),
)

logger = Table(
    "logger",
    metadata,
    Column("id", Text, primary_key=True),
    Column("kind", Text, nullable=False, default="files"),  # "files" | "station" | "hand"
    Column("site_id", ForeignKey("site.id"), nullable=False),
    Column("layout_name", ForeignKey("layout.name")),  # of kind "files" only
    _retired(),
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

hand_note = Table(  # who read a thermometer and what they wrote, of each reading of an import
    "hand_note",
    metadata,
    Column("import_id", ForeignKey("import_batch.id"), primary_key=True),
    Column("number", Integer, primary_key=True),  # within the import, the first being 1
    Column("probe_id", ForeignKey("probe.id"), nullable=False),
    Column("observed_at", UtcInstant, nullable=False),
    Column("said", Text, nullable=False),  # the temperature as it was given, "61.5F"
    Column("person", Text, nullable=False),
    Column("note", Text, nullable=False),
)

unchecked_logger = Table(  # its readings are from before all checks: to be flagged once
    "unchecked_logger",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
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

recipient = Table(
    "recipient",
    metadata,
    Column("name", Text, primary_key=True),
    Column("role", Text, nullable=False),  # "grower" | "researcher" | "coordinator"
    Column("email", Text),
    Column("phone", Text),
    Column("channels", JSON, nullable=False),  # of "mail", "sms"
    Column("language", Text, nullable=False),
    Column("unit", Text, nullable=False),  # "F" | "C"
    Column("hour", Integer, nullable=False),  # local hour of the digest
    Column("all_blocks", Boolean, nullable=False),
    _retired(),
)

recipient_block = Table(
    "recipient_block",
    metadata,
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("block_id", ForeignKey("block.id"), primary_key=True),
)

address_consent = Table(  # whether someone wants to be told at an address; kept for good
    "address_consent",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), nullable=False),
    Column("channel", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("asked_at", UtcInstant),
    Column("confirmed_at", UtcInstant),
    Column("confirmed_by", Text),
    Column("confirmed_why", Text),
    Column("stopped_at", UtcInstant),
    Column("stopped_how", Text),
    UniqueConstraint("recipient_name", "channel", "address"),
)

text_received = Table(  # a text that came from a phone
    "text_received",
    metadata,
    Column("id", Text, primary_key=True),  # its gateway's own
    Column("phone", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("received_at", UtcInstant, nullable=False),
    Column("answer", Text),  # None: no one is told by that number
)

dug = Table(  # who has dug in a window, and hears no more of it but its close
    "dug",
    metadata,
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("season", Integer, primary_key=True),
    Column("kind", Text, primary_key=True),
    Column("said_at", UtcInstant, nullable=False),
    Column("how", Text, nullable=False),
    Column("taken_back_at", UtcInstant),
)

recipient_quiet = Table(  # hours in which nothing is sent to them, "HH:MM" of their clock
    "recipient_quiet",
    metadata,
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("quiet_from", Text, nullable=False),
    Column("quiet_until", Text, nullable=False),
)

import_batch = Table(
    "import_batch",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("logger_id", ForeignKey("logger.id"), nullable=False, index=True),
    Column("source", Text, nullable=False),  # "file" | "push" | "feed" | "hand"
    Column("file", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("imported_at", UtcInstant, nullable=False),
    Column("inserted", Integer, nullable=False),
    Column("identical", Integer, nullable=False),
    Column("conflicting", Integer, nullable=False),
    Column("rejected", Integer, nullable=False),
    Column("missing", Integer, nullable=False),
    Column("first_at", UtcInstant),  # of its readings; None: it has none
    Column("last_at", UtcInstant),
    Column("changed_at", UtcInstant),  # when it last changed what is kept; None: never
    Column("signs", JSON, nullable=False, default=list),  # signs of a wrong clock, in words
    Column("withdrawn_at", UtcInstant),
    Column("withdrawn_by", Text),
    Column("withdrawn_why", Text),
)

import_content = Table(  # what a delivery held, to read it again when an earlier one is withdrawn
    "import_content",
    metadata,
    Column("import_id", ForeignKey("import_batch.id"), primary_key=True),
    Column("layout", JSON, nullable=False),  # as it was when it was read; empty: canonical
    Column("clock_corrections", JSON, nullable=False),  # as they were when it was read
    Column("body", LargeBinary, nullable=False),  # compressed by zlib
)

import_reject = Table(
    "import_reject",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("import_id", ForeignKey("import_batch.id"), nullable=False, index=True),
    Column("line", Integer, nullable=False),
    Column("reason", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("readings", Integer, nullable=False),
)

# no foreign keys: PostgreSQL checks them row by row, which takes eight times as long as the rows
reading = Table(
    "reading",
    metadata,
    Column("probe_id", Integer, primary_key=True),
    Column("observed_at", UtcInstant, primary_key=True),
    Column("soil_temp_c", Float, nullable=False),
    Column("flag", SmallInteger, nullable=False),
    Column("checks", Integer, nullable=False),  # the result of each check, packed: probes.checks
    Column("import_id", Integer, nullable=False),
    sqlite_with_rowid=False,
)

conflict = Table(  # other values met for an instant: the first is kept, they are listed
    "conflict",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("observed_at", UtcInstant, primary_key=True),
    Column("soil_temp_c", Float, primary_key=True),
    Column("import_id", ForeignKey("import_batch.id"), nullable=False),  # that met it first
)

settlement = Table(  # a person's word on which value of a conflict is kept
    "settlement",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("observed_at", UtcInstant, primary_key=True),
    Column("soil_temp_c", Float, nullable=False),
    Column("person", Text, nullable=False),
    Column("settled_at", UtcInstant, nullable=False),
)

shifted_stamp = Table(  # readings whose clock was corrected, as they were stamped
    "shifted_stamp",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("observed_at", UtcInstant, primary_key=True),
    Column("stamped_at", UtcInstant, nullable=False),
)

overrule = Table(  # a person's verdict on a span of a probe, over what the checks say
    "overrule",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("probe_id", ForeignKey("probe.id"), nullable=False, index=True),
    Column("first_at", UtcInstant, nullable=False),
    Column("last_at", UtcInstant, nullable=False),
    Column("flag", SmallInteger, nullable=False),  # 1 good, 4 fail
    Column("note", Text, nullable=False),
    Column("person", Text, nullable=False),
    Column("made_at", UtcInstant, nullable=False),
    Column("withdrawn_at", UtcInstant),
)

overrule_withdrawal = Table(  # who took a verdict back, and why
    "overrule_withdrawal",
    metadata,
    Column("overrule_id", ForeignKey("overrule.id"), primary_key=True),
    Column("person", Text, nullable=False),
    Column("why", Text, nullable=False),
)

push_token = Table(  # lets a logger push its readings; only the token's hash is kept
    "push_token",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("logger_id", ForeignKey("logger.id"), nullable=False),
    Column("sha256", Text, nullable=False, unique=True),
    Column("made_at", UtcInstant, nullable=False),
    Column("last_used_at", UtcInstant),
    Column("revoked_at", UtcInstant),
)

silence = Table(  # of a logger, station or probe: noticed once; over when it is as fresh as usual
    "silence",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("logger_id", ForeignKey("logger.id"), nullable=False, index=True),
    Column("probe_id", ForeignKey("probe.id")),  # None: all of the logger
    Column("kind", Text, nullable=False),  # "stopped" | "due"
    Column("last_reading_at", UtcInstant, nullable=False),  # the last one that is usable
    Column("noticed_at", UtcInstant, nullable=False),
    Column("returned_at", UtcInstant),
)

daily_mean = Table(  # contract: probes.frames.DailyMeans
    "daily_mean",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("mean_c", Float),
    Column("slots_present", SmallInteger, nullable=False),
    Column("slots_in_day", SmallInteger, nullable=False),
    Column("longest_gap_h", SmallInteger, nullable=False),
    Column("complete", Boolean, nullable=False),
    sqlite_with_rowid=False,
)

daily_error = Table(  # standard error of days whose value was made from instants read by hand
    "daily_error",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("error_c", Float, nullable=False),
)

round_ = Table(
    "round",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("as_of", Date),  # None: each site up to its own yesterday
    Column("started_at", UtcInstant, nullable=False),
    Column("finished_at", UtcInstant),
    Column("blocks", Integer),
    Column("notices", Integer),
)

notice = Table(  # one thing to tell about one block: alerts.notices.Notice
    "notice",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("round_id", ForeignKey("round.id"), nullable=False),
    Column("block_id", ForeignKey("block.id"), nullable=False),
    Column("season", Integer, nullable=False),
    Column("kind", Text, nullable=False),  # "spring" | "fall"
    Column("what", Text, nullable=False),
    Column("opened_on", Date),
    Column("not_before", Date),
    Column("closed_on", Date),
    Column("reason", Text),
    Column("told_opened_on", Date),
    Column("told_closed_on", Date),
    Column("ends_by", Date),
    Column("mean_c", Float),
    Column("mean_on", Date),
    Column("limit_c", Float),
    Column("basis_cm", JSON, nullable=False),
    Column("sources", JSON, nullable=False),  # of alerts.notices.Source
    Index(None, "block_id", "season"),
)

notice_bounds = Table(  # how far its dates may be off: alerts.bounds.Bounds
    "notice_bounds",
    metadata,
    Column("notice_id", ForeignKey("notice.id"), primary_key=True),
    Column("closed_not_before", Date),
    Column("opened_earliest", Date),
    Column("opened_latest", Date),  # None: not yet, or never
    Column("closed_earliest", Date),
    Column("closed_latest", Date),  # None: not yet, or never
)

notice_estimate = Table(  # what of a notice was not measured; no row: all was
    "notice_estimate",
    metadata,
    Column("notice_id", ForeignKey("notice.id"), primary_key=True),
    Column("carried", Boolean, nullable=False),
    Column("estimated", Boolean, nullable=False),
    Column("not_known", Boolean, nullable=False),
)

notice_nowcast = Table(  # of a notice that no readings are behind: alerts.notices.Nowcast
    "notice_nowcast",
    metadata,
    Column("notice_id", ForeignKey("notice.id"), primary_key=True),
    Column("issued_on", Date, nullable=False),
    Column("since", Date, nullable=False),
    Column("chance", Float, nullable=False),
    Column("last_day", Date),  # with a root-zone value; None: the season had none
)

outlook_air = Table(  # of an outlook that heeds a forecast of the air
    "outlook_air",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("issued_on", Date, primary_key=True),  # the outlook
    Column("air_issued_on", Date, nullable=False),  # the forecast
)

outlook = Table(  # alerts.outlook.dates.Outlook: a row for its opening, one for its close
    "outlook",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("issued_on", Date, primary_key=True),  # the last day that it knows of
    Column("event", Text, primary_key=True),  # "opens" | "closes"
    Column("season", Integer, nullable=False),
    Column("kind", Text, nullable=False),  # "spring" | "fall"
    Column("last_day", Date),  # with a root-zone value; None: none this season
    Column("curve_of", ForeignKey("block.id")),  # itself or a neighbour; None: a station
    Column("curve_of_station", ForeignKey("logger.id")),
    Column("chance", Float, nullable=False),
    Column("by_now", Float, nullable=False),
    Column("within_7_d", Float, nullable=False),
    Column("within_14_d", Float, nullable=False),
    Column("p10", Date),  # None: not this season
    Column("p50", Date),
    Column("p90", Date),
    Column("warm_first", Date),  # of an opening that has become unlikely
    Column("warm_last", Date),
    Column("warm_peak_on", Date),
    Column("warm_peak_c", Float),
    Column("open_chances", JSON, nullable=False),  # of its day of issue and each seventh day on
    Column("borrowed", JSON, nullable=False),  # of alerts.notices.Neighbour
)

digest = Table(  # the notices one recipient gets at once
    "digest",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), nullable=False, index=True),
    Column("composed_at", UtcInstant, nullable=False),
)

notice_recipient = Table(  # who is to be told, settled when the notice is made; once each
    "notice_recipient",
    metadata,
    Column("notice_id", ForeignKey("notice.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed yet
)

silence_notice = Table(  # one thing to tell of a silence: alerts.silence_news.SilenceNotice
    "silence_notice",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("silence_id", ForeignKey("silence.id"), nullable=False),
    Column("what", Text, nullable=False),  # "stopped" | "due" | "returned"
    Column("depth_cm", Float),
    Column("last_on", Date, nullable=False),
    Column("back_on", Date),
    Column("unusable", Boolean, nullable=False),
    Column("usual_days", Integer),
    Column("failing_since", Date),
    Column("failure", Text),
    Column("block_ids", JSON, nullable=False),  # that rest on it
)

silence_recipient = Table(  # who is to be told, settled when the notice is made; once each
    "silence_recipient",
    metadata,
    Column("silence_notice_id", ForeignKey("silence_notice.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed yet
)

outbox = Table(
    "outbox",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), nullable=False),
    Column("channel", Text, nullable=False),  # "mail" | "sms"
    Column("address", Text, nullable=False),
    Column("message_id", Text, nullable=False, unique=True),  # of the mail; made for a text too
    Column("created_at", UtcInstant, nullable=False),
    Column("leased_until", UtcInstant),
    Column("attempts", Integer, nullable=False),
    Column("next_try_at", UtcInstant),  # None: as soon as may be
    Column("failure", Text),  # the last one, in words
    Column("delivered_at", UtcInstant),  # handed over
    Column("receipt", Text),  # what was said to it
    Column("ended", Text),  # "refused" | "given up" | "bounced" | "dropped"; None: none of them
    Column("ended_at", UtcInstant),
    Column("ended_by", Text),
    Column("message", Text, nullable=False),  # the whole mail, or the text of the SMS
    UniqueConstraint("digest_id", "channel"),
)
Index(
    "ix_outbox_waiting",
    outbox.c.channel,
    outbox.c.id,
    sqlite_where=and_(outbox.c.delivered_at.is_(None), outbox.c.ended.is_(None)),
    postgresql_where=and_(outbox.c.delivered_at.is_(None), outbox.c.ended.is_(None)),
)

channel_trouble = Table(  # a channel that takes nothing now; no row: as far as is known it does
    "channel_trouble",
    metadata,
    Column("channel", Text, primary_key=True),
    Column("since", UtcInstant, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("next_try_at", UtcInstant, nullable=False),
    Column("failure", Text, nullable=False),
)

undelivered = Table(  # a message that does not arrive, or an address where nothing does
    "undelivered",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), nullable=False),
    Column("channel", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("outbox_id", ForeignKey("outbox.id")),  # None: not even composed
    Column("why", Text, nullable=False),
    Column("noticed_at", UtcInstant, nullable=False),
    Column("suspends", Boolean, nullable=False),  # its address, until that is lifted
    Column("lifted_at", UtcInstant),
    Column("lifted_by", Text),
    Index(None, "channel", "address"),
)

undelivered_recipient = Table(  # the coordinators who are to be told, once each
    "undelivered_recipient",
    metadata,
    Column("undelivered_id", ForeignKey("undelivered.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed yet
)
