"""What came in and what is kept of it: deliveries, readings, verdicts on them, daily means."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    SmallInteger,
    Table,
    Text,
)

from service.store.tables.base import metadata
from service.store.types import UtcInstant

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
    Column("signs", JSON, nullable=False, default=list),  # signs of a wrong clock, in words
    Column("withdrawn_at", UtcInstant),
    Column("withdrawn_by", Text),
    Column("withdrawn_why", Text),
)

intake_tally = Table(  # how much has ever come of a logger, whatever was taken back later
    "intake_tally",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("source", Text, primary_key=True),  # of its import_batch
    Column("deliveries", BigInteger, nullable=False),
    Column("inserted", BigInteger, nullable=False),
    Column("identical", BigInteger, nullable=False),
    Column("conflicting", BigInteger, nullable=False),
    Column("rejected", BigInteger, nullable=False),
    Column("missing", BigInteger, nullable=False),
)

import_content = Table(  # what a delivery held, to read it again when an earlier one is withdrawn
    "import_content",
    metadata,
    Column("import_id", ForeignKey("import_batch.id"), primary_key=True),
    Column("layout", JSON, nullable=False),  # as it was when it was read; empty: canonical
    Column("clock_corrections", JSON, nullable=False),  # as they were when it was read
    Column("body", LargeBinary, nullable=False),  # compressed by zlib
)

import_pack = Table(  # what pushes of a logger and day held, instead of import_content
    "import_pack",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("first_id", Integer, primary_key=True),
    Column("last_id", Integer, nullable=False),
    Column("body", LargeBinary, nullable=False),  # service.store.packs
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

upload = Table(  # a file that a person looks at before it is kept as an import
    "upload",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("account_id", ForeignKey("account.id"), nullable=False, index=True),
    Column("site_id", ForeignKey("site.id"), nullable=False),
    Column("logger_id", Text),  # None: of a logger that is not there yet
    Column("layout", JSON(none_as_null=True)),  # of that logger, once it is stated
    Column("file", Text, nullable=False),
    Column("body", LargeBinary, nullable=False),  # as it came
    Column("made_at", UtcInstant, nullable=False),
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
    postgresql_partition_by="RANGE (observed_at)",  # a year each: service.store.partitions
)

frozen = Table(  # readings before a day are kept as daily means only; no row: all are kept
    "frozen",
    metadata,
    Column("id", Integer, primary_key=True),  # always 1
    Column("before", Date, nullable=False),  # of each site's standard time
    Column("decided_at", UtcInstant, nullable=False),
)

logger_change = Table(  # how often what is kept of a logger has changed
    "logger_change",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
    Column("changes", Integer, nullable=False),
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

unchecked_logger = Table(  # its readings are from before all checks: to be flagged once
    "unchecked_logger",
    metadata,
    Column("logger_id", ForeignKey("logger.id"), primary_key=True),
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

daily_pack = Table(  # the complete ones of 128 days, to be read fast: service.store.daily_packs
    "daily_pack",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("part", Integer, primary_key=True),  # days since 1970 by 128
    Column("held", SmallInteger, nullable=False),  # of its days; what follows is not said
    Column("body", LargeBinary, nullable=False),  # 128 float64, NaN where the day is not complete
)

daily_error = Table(  # standard error of days whose value was made from instants read by hand
    "daily_error",
    metadata,
    Column("probe_id", ForeignKey("probe.id"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("error_c", Float, nullable=False),
)
