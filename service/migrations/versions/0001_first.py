"""The first tables.

Revision ID: 0001
"""

from alembic import op
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
    SmallInteger,
    Text,
    UniqueConstraint,
)

from service.store.types import UtcInstant

revision = "0001"
down_revision = None


def _retired() -> Column[object]:
    return Column("retired_at", UtcInstant)


def upgrade() -> None:
    """Create every table."""
    op.create_table(
        "district",
        Column("id", Text, primary_key=True),
        Column("name", Text, nullable=False),
        _retired(),
    )
    op.create_table(
        "layout",
        Column("name", Text, primary_key=True),
        Column("spec", JSON, nullable=False),
        _retired(),
    )
    op.create_table(
        "organisation",
        Column("id", Integer, primary_key=True),
        Column("name", Text, nullable=False),
    )
    op.create_table(
        "reading",
        Column("probe_id", Integer, primary_key=True),
        Column("observed_at", UtcInstant, primary_key=True),
        Column("soil_temp_c", Float, nullable=False),
        Column("flag", SmallInteger, nullable=False),
        Column("checks", Integer, nullable=False),
        Column("import_id", Integer, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "recipient",
        Column("name", Text, primary_key=True),
        Column("role", Text, nullable=False),
        Column("email", Text),
        Column("phone", Text),
        Column("channels", JSON, nullable=False),
        Column("language", Text, nullable=False),
        Column("unit", Text, nullable=False),
        Column("hour", Integer, nullable=False),
        Column("all_blocks", Boolean, nullable=False),
        _retired(),
    )
    op.create_table(
        "round",
        Column("id", Integer, primary_key=True),
        Column("as_of", Date),
        Column("started_at", UtcInstant, nullable=False),
        Column("finished_at", UtcInstant),
        Column("blocks", Integer),
        Column("notices", Integer),
    )
    op.create_table(
        "digest",
        Column("id", Integer, primary_key=True),
        Column("recipient_name", Text, ForeignKey("recipient.name"), nullable=False, index=True),
        Column("composed_at", UtcInstant, nullable=False),
    )
    op.create_table(
        "site",
        Column("id", Text, primary_key=True),
        Column("name", Text, nullable=False),
        Column("timezone", Text, nullable=False),
        Column("utc_offset_min", Integer, nullable=False),
        Column("latitude", Float, nullable=False),
        Column("longitude", Float, nullable=False),
        Column("elevation_m", Float),
        Column("district_id", Text, ForeignKey("district.id")),
        Column("checks", Text, nullable=False),
        Column("use_suspect", Boolean, nullable=False),
        _retired(),
    )
    op.create_table(
        "block",
        Column("id", Text, primary_key=True),
        Column("site_id", Text, ForeignKey("site.id"), nullable=False),
        Column("name", Text, nullable=False),
        Column("root_zone_top_cm", Float, nullable=False),
        Column("root_zone_bottom_cm", Float, nullable=False),
        Column("weights", Text, nullable=False),
        Column("rule", Text, nullable=False),
        Column("latitude", Float),
        Column("longitude", Float),
        Column("row_spacing_m", Float),
        Column("vine_spacing_m", Float),
        Column("row_azimuth_deg", Float),
        Column("planted", Integer),
        Column("rootstock", Text),
        _retired(),
    )
    op.create_table(
        "logger",
        Column("id", Text, primary_key=True),
        Column("kind", Text, nullable=False),
        Column("site_id", Text, ForeignKey("site.id"), nullable=False),
        Column("layout_name", Text, ForeignKey("layout.name")),
        _retired(),
    )
    op.create_table(
        "outbox",
        Column("id", Integer, primary_key=True),
        Column("digest_id", Integer, ForeignKey("digest.id"), nullable=False),
        Column("channel", Text, nullable=False),
        Column("address", Text, nullable=False),
        Column("message", Text, nullable=False),
        Column("created_at", UtcInstant, nullable=False),
        Column("leased_until", UtcInstant),
        Column("attempts", Integer, nullable=False),
        Column("delivered_at", UtcInstant),
        UniqueConstraint("digest_id", "channel"),
        Index("ix_outbox_waiting", "delivered_at", "leased_until"),
    )
    op.create_table(
        "block_probe",
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
        Column("valid_from", Date, primary_key=True),
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("depth_cm", Float, primary_key=True),
    )
    op.create_table(
        "clock_correction",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("stamped_from", UtcInstant, primary_key=True),
        Column("stamped_until", UtcInstant, nullable=False),
        Column("add_s", Integer, nullable=False),
    )
    op.create_table(
        "feed_state",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("fetched_at", UtcInstant),
        Column("attempted_at", UtcInstant),
        Column("validators", JSON, nullable=False),
        Column("failing_since", UtcInstant),
        Column("failure", Text),
    )
    op.create_table(
        "hand_thermometer",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("hour_corrections_c", JSON, nullable=False),
        Column("error_c", Float, nullable=False),
    )
    op.create_table(
        "import_batch",
        Column("id", Integer, primary_key=True),
        Column("logger_id", Text, ForeignKey("logger.id"), nullable=False, index=True),
        Column("source", Text, nullable=False),
        Column("file", Text, nullable=False),
        Column("sha256", Text, nullable=False),
        Column("imported_at", UtcInstant, nullable=False),
        Column("inserted", Integer, nullable=False),
        Column("identical", Integer, nullable=False),
        Column("conflicting", Integer, nullable=False),
        Column("rejected", Integer, nullable=False),
        Column("missing", Integer, nullable=False),
        Column("first_at", UtcInstant),
        Column("last_at", UtcInstant),
        Column("changed_at", UtcInstant),
        Column("signs", JSON, nullable=False),
        Column("withdrawn_at", UtcInstant),
        Column("withdrawn_by", Text),
        Column("withdrawn_why", Text),
    )
    op.create_table(
        "notice",
        Column("id", Integer, primary_key=True),
        Column("round_id", Integer, ForeignKey("round.id"), nullable=False),
        Column("block_id", Text, ForeignKey("block.id"), nullable=False),
        Column("season", Integer, nullable=False),
        Column("kind", Text, nullable=False),
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
        Column("sources", JSON, nullable=False),
        Index(None, "block_id", "season"),
    )
    op.create_table(
        "probe",
        Column("id", Integer, primary_key=True),
        Column("logger_id", Text, ForeignKey("logger.id"), nullable=False),
        Column("channel", Text, nullable=False),
        UniqueConstraint("logger_id", "channel"),
    )
    op.create_table(
        "push_token",
        Column("id", Integer, primary_key=True),
        Column("logger_id", Text, ForeignKey("logger.id"), nullable=False),
        Column("sha256", Text, nullable=False, unique=True),
        Column("made_at", UtcInstant, nullable=False),
        Column("last_used_at", UtcInstant),
        Column("revoked_at", UtcInstant),
    )
    op.create_table(
        "recipient_block",
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("block_id", Text, ForeignKey("block.id"), primary_key=True),
    )
    op.create_table(
        "silence",
        Column("id", Integer, primary_key=True),
        Column("logger_id", Text, ForeignKey("logger.id"), nullable=False, index=True),
        Column("last_reading_at", UtcInstant, nullable=False),
        Column("noticed_at", UtcInstant, nullable=False),
        Column("returned_at", UtcInstant),
    )
    op.create_table(
        "station",
        Column("logger_id", Text, ForeignKey("logger.id"), primary_key=True),
        Column("feed", Text, nullable=False),
        Column("spec", JSON, nullable=False),
    )
    op.create_table(
        "conflict",
        Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
        Column("observed_at", UtcInstant, primary_key=True),
        Column("soil_temp_c", Float, primary_key=True),
        Column("import_id", Integer, ForeignKey("import_batch.id"), nullable=False),
    )
    op.create_table(
        "daily_mean",
        Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
        Column("day", Date, primary_key=True),
        Column("mean_c", Float),
        Column("slots_present", SmallInteger, nullable=False),
        Column("slots_in_day", SmallInteger, nullable=False),
        Column("longest_gap_h", SmallInteger, nullable=False),
        Column("complete", Boolean, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "import_content",
        Column("import_id", Integer, ForeignKey("import_batch.id"), primary_key=True),
        Column("layout", JSON, nullable=False),
        Column("clock_corrections", JSON, nullable=False),
        Column("body", LargeBinary, nullable=False),
    )
    op.create_table(
        "import_reject",
        Column("id", Integer, primary_key=True),
        Column("import_id", Integer, ForeignKey("import_batch.id"), nullable=False, index=True),
        Column("line", Integer, nullable=False),
        Column("reason", Text, nullable=False),
        Column("text", Text, nullable=False),
        Column("readings", Integer, nullable=False),
    )
    op.create_table(
        "notice_recipient",
        Column("notice_id", Integer, ForeignKey("notice.id"), primary_key=True),
        Column("recipient_name", Text, ForeignKey("recipient.name"), primary_key=True),
        Column("digest_id", Integer, ForeignKey("digest.id"), index=True),
    )
    op.create_table(
        "overrule",
        Column("id", Integer, primary_key=True),
        Column("probe_id", Integer, ForeignKey("probe.id"), nullable=False, index=True),
        Column("first_at", UtcInstant, nullable=False),
        Column("last_at", UtcInstant, nullable=False),
        Column("flag", SmallInteger, nullable=False),
        Column("note", Text, nullable=False),
        Column("person", Text, nullable=False),
        Column("made_at", UtcInstant, nullable=False),
        Column("withdrawn_at", UtcInstant),
    )
    op.create_table(
        "probe_stretch",
        Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
        Column("valid_from", Date, primary_key=True),
        Column("depth_cm", Float, nullable=False),
        Column("calibration_offset_c", Float, nullable=False),
    )
    op.create_table(
        "settlement",
        Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
        Column("observed_at", UtcInstant, primary_key=True),
        Column("soil_temp_c", Float, nullable=False),
        Column("person", Text, nullable=False),
        Column("settled_at", UtcInstant, nullable=False),
    )
    op.create_table(
        "shifted_stamp",
        Column("probe_id", Integer, ForeignKey("probe.id"), primary_key=True),
        Column("observed_at", UtcInstant, primary_key=True),
        Column("stamped_at", UtcInstant, nullable=False),
    )
