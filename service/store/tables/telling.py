"""What was decided and who is to be told: rounds, outlooks, notices, silences, digests."""

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
    Table,
    Text,
)

from service.store.tables.base import metadata
from service.store.types import UtcInstant

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

round_seen = Table(  # how much had changed of what it reads when it did
    "round_seen",
    metadata,
    Column("round_id", ForeignKey("round.id"), primary_key=True),
    Column("changes", Integer, nullable=False),  # service.store.rounds.count_changes
)

look_ahead = Table(  # each time that the outlooks of all blocks were found
    "look_ahead",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("started_at", UtcInstant, nullable=False),
    Column("changes", Integer, nullable=False),  # of readings, when it began
    Column("took_s", Float, nullable=False),
)

round_lease = Table(  # who runs a round now, or looks ahead; no row: no one
    "round_lease",
    metadata,
    Column("id", Integer, primary_key=True),  # 1 a round, 2 looking ahead
    Column("holder", Text, nullable=False),  # another one each time
    Column("host", Text, nullable=False),
    Column("process", Integer, nullable=False),
    Column("since", UtcInstant, nullable=False),
    Column("lapses_at", UtcInstant, nullable=False),
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

outlook_air = Table(  # of an outlook that heeds a forecast of the air
    "outlook_air",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("issued_on", Date, primary_key=True),  # the outlook
    Column("air_issued_on", Date, nullable=False),  # the forecast
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

notice_summary = Table(  # of a notice that sums up a season: alerts.notices.Summary
    "notice_summary",
    metadata,
    Column("notice_id", ForeignKey("notice.id"), primary_key=True),
    Column("spans", JSON, nullable=False),  # kind, first day, first day after it
    Column("highest_c", Float, nullable=False),
    Column("highest_on", Date, nullable=False),
)

untold_pause = Table(  # as of the last round: alerts.changes.find_untold_pauses
    "untold_pause",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("season", Integer, primary_key=True),
    Column("kind", Text, primary_key=True),
)

notice_recipient = Table(  # who is to be told, settled when the notice is made; once each
    "notice_recipient",
    metadata,
    Column("notice_id", ForeignKey("notice.id"), primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), primary_key=True),
    Column("digest_id", ForeignKey("digest.id"), index=True),  # None: not composed yet
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

digest = Table(  # the notices one recipient gets at once
    "digest",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("recipient_name", ForeignKey("recipient.name"), nullable=False, index=True),
    Column("composed_at", UtcInstant, nullable=False),
)

block_picture = Table(  # the chart of a block, drawn for those who read alike
    "block_picture",
    metadata,
    Column("block_id", ForeignKey("block.id"), primary_key=True),
    Column("season", Integer, primary_key=True),  # 0: the last months
    Column("language", Text, primary_key=True),
    Column("unit", Text, primary_key=True),
    Column("basis", Text, nullable=False),  # what it was drawn from, hashed
    Column("svg", LargeBinary, nullable=False),  # compressed by zlib
    Column("described", Text, nullable=False),  # the same in words
)
