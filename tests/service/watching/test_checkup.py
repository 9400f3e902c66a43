"""What `digseason check` finds, each fault planted for real."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy import Engine, insert, update

from service.cli import main
from service.one_round import holding_round
from service.settings import Settings
from service.store import tables
from service.store.backup_notes import note_backup
from service.store.channel_troubles import ChannelTrouble, keep_trouble
from service.store.engine import open_engine, writing
from service.store.frozen import freeze
from service.store.holds import hold_sending
from service.store.outbox import add_digest, add_message, end_message
from service.store.rounds import begin_round, finish_round
from service.store.schema import upgrade
from service.store.stations import begin_attempt, fetch_stations, note_failure
from service.store.undelivered import add_undelivered
from service.watching.checkup import Finding, check_service
from tests.farms import STATION, farm_text, set_up

pytestmark = pytest.mark.sqlite_by_day

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Settings of an operator who has set what there is to set."""
    data = tmp_path / "kept"
    data.mkdir(mode=0o700)
    (data / "digseason.db").touch()
    mail_from = "Alder Bench <soil@example.org>"
    return Settings(data=data, mail_from=mail_from, smtp_host="mail.example.org")


def run_round(engine: Engine, at: datetime) -> None:
    with writing(engine) as connection:
        finish_round(connection, begin_round(connection, None, at), at, 0, 0, 0)


def found(engine: Engine, settings: Settings, what: str) -> Finding:
    return next(one for one in check_service(engine, settings, NOW) if one.what == what)


@pytest.mark.both_by_day
def test_a_service_that_is_well_wants_no_look(engine: Engine, settings: Settings) -> None:
    set_up(engine, farm_text(north=True))
    run_round(engine, NOW - 20 * HOUR)
    remedies = {one.what: one.remedy for one in check_service(engine, settings, NOW)}
    unkept = remedies.pop("integrity")
    if engine.dialect.name == "postgresql":
        assert unkept
        folder = unkept.split("pg_checksums --enable -D ")[1].split("`")[0]
        assert Path(folder, "PG_VERSION").is_file()
        assert "PostgreSQL's own disk is not seen" in found(engine, settings, "disk").said
    else:
        assert unkept is None
    assert set(remedies.values()) == {None}


@pytest.mark.parametrize(
    ("last_at", "said"),
    [
        pytest.param(None, "there has been none, not counting any with --as-of", id="never"),
        pytest.param(NOW - 27 * HOUR, "the last one 27.0 hours ago", id="yesterday"),
        pytest.param(NOW - 240 * HOUR, "the last one 10 days ago", id="long ago"),
    ],
)
def test_a_round_that_is_late_wants_a_look(
    engine: Engine, settings: Settings, last_at: datetime | None, said: str
) -> None:
    if last_at:
        run_round(engine, last_at)
    one = found(engine, settings, "round")
    assert (one.said, one.remedy is None) == (said, False)


@pytest.mark.parametrize(
    ("days", "wanted", "is_fine"),
    [
        pytest.param(7, 8, True, id="a week"),
        pytest.param(9, 8, False, id="more than a week"),
        pytest.param(9, 0, True, id="backups are made by other means"),
    ],
)
def test_that_no_backup_was_ever_made_wants_a_look_after_a_week(
    engine: Engine, settings: Settings, days: int, wanted: int, is_fine: bool
) -> None:
    settings.backup_days = wanted
    for day in range(days):
        run_round(engine, NOW - timedelta(days=days - day))
    one = found(engine, settings, "backup")
    assert one.said == "none made by `digseason backup` is known"
    assert (one.remedy is None) == is_fine


@pytest.mark.both_by_day
def test_the_disk_of_the_last_backup_is_watched_too(
    engine: Engine, settings: Settings, tmp_path: Path
) -> None:
    backup = tmp_path / "away" / "b.db"
    note_backup(engine, backup, NOW)
    assert "backup disk" not in {one.what for one in check_service(engine, settings, NOW)}
    backup.parent.mkdir()
    assert found(engine, settings, "backup disk").remedy is None
    with backup.open("wb") as file:
        file.truncate(2**43)  # with a hole, larger than what is free
    one = found(engine, settings, "backup disk")
    assert one.said.endswith(f" GB free where {tmp_path / 'away'} lies")
    assert one.remedy == "Make room: without it no backup can be made."


def test_a_clock_that_went_back_wants_a_look(engine: Engine, settings: Settings) -> None:
    run_round(engine, NOW + 30 * HOUR)
    one = found(engine, settings, "clock")
    assert "30.0 hours later" in one.said
    assert one.remedy


@pytest.mark.both_by_day
def test_a_round_that_runs_is_named_and_one_whose_process_died_too(
    engine: Engine, settings: Settings
) -> None:
    with holding_round(engine) as lease:
        runs = found(engine, settings, "running")
        with writing(engine) as connection:
            connection.execute(update(tables.round_lease).values(lapses_at=lease.since))
        died = found(engine, settings, "running")
    who = f"process {lease.process} on {lease.host}"
    assert (runs.said, runs.remedy) == (f"{who} runs a round, begun 0.0 hours ago", None)
    assert died.said == f"{who} died in a round, begun 0.0 hours ago"
    assert "it takes over" in (died.remedy or "")


@pytest.mark.both_by_day
def test_what_is_kept_as_days_only_and_what_is_held_back_is_said(
    engine: Engine, settings: Settings
) -> None:
    with writing(engine) as connection:
        freeze(connection, date(2024, 1, 1), NOW)
        hold_sending(connection, "restored from b.db", NOW)
    kept = found(engine, settings, "readings")
    held = found(engine, settings, "sending")
    assert (kept.said, kept.remedy) == (
        "readings before 2024-01-01 are kept as daily means only",
        None,
    )
    assert held.said == "held since 2026-03-02 12:00 UTC: restored from b.db"
    assert "digseason outbox release" in (held.remedy or "")


def test_a_feed_that_fails_is_named_with_its_failure(engine: Engine, settings: Settings) -> None:
    set_up(engine, farm_text(north=True, more=STATION))
    with writing(engine) as connection:
        station = fetch_stations(connection)[0]
        begun = begin_attempt(connection, station.id, NOW - 100 * HOUR)
        note_failure(connection, begun, "answered 503")
    one = found(engine, settings, "feed")
    assert one.said == "b1: failing since 2026-02-26: answered 503"
    assert one.remedy == "Try `digseason fetch --station b1`."


@pytest.mark.both_by_day
def test_a_silent_logger_is_named(engine: Engine, settings: Settings) -> None:
    set_up(engine, farm_text(north=True))
    with writing(engine) as connection:
        since = NOW - 90 * HOUR
        row = {"logger_id": "u1", "kind": "silent", "last_reading_at": since, "noticed_at": NOW}
        connection.execute(insert(tables.silence), row)
    one = found(engine, settings, "loggers")
    assert one.said == "silent, in part or whole: u1"
    assert one.remedy


def test_a_block_whose_probes_are_shallow_is_named(engine: Engine, settings: Settings) -> None:
    set_up(engine, farm_text(north=True, depths_cm=[10]))
    one = found(engine, settings, "depth")
    assert one.said == "probes lie too shallow, so spring is told too early: terrace-7"
    assert one.remedy


@pytest.mark.both_by_day
def test_a_message_that_waits_for_long_or_was_refused_wants_a_look(
    engine: Engine, settings: Settings
) -> None:
    set_up(engine, farm_text(north=True))
    with writing(engine) as connection:
        for number in (1, 2):
            digest = add_digest(connection, "Ada Example", NOW)
            made = (f"<{number}@example.org>", "text", NOW - 2 * HOUR)
            address = "ada@example.org" if number == 2 else "ida@example.org"
            add_message(connection, digest, "mail", address, *made)
        end_message(connection, 2, "refused", "550 5.1.1 no such user", NOW)
        told = ("Ada Example", "mail", "ada@example.org", "550 5.1.1 no such user", NOW)
        add_undelivered(connection, *told, suspends=True)
    waiting = found(engine, settings, "outbox")
    suspended = found(engine, settings, "address")
    assert waiting.said == "1 message waits, 1 of them for more than an hour"
    assert waiting.remedy
    assert found(engine, settings, "undelivered").said == (
        "1 message of the last 14 days did not arrive"
    )
    assert suspended.said == "nothing goes to Ada Example, ada@example.org: 550 5.1.1 no such user"
    assert "digseason outbox resume ada@example.org" in (suspended.remedy or "")


def test_a_folder_that_others_may_read_wants_a_look(engine: Engine, settings: Settings) -> None:
    settings.data.chmod(0o755)
    one = found(engine, settings, "folder")
    assert one.remedy == f"Run `chmod -R go= {settings.data}`."


@pytest.mark.both_by_day
def test_mails_that_reach_no_one_want_a_look(engine: Engine, settings: Settings) -> None:
    set_up(engine, farm_text(north=True))
    unset = Settings(data=settings.data)
    mails, texts = (found(engine, unset, what) for what in ("mail", "sms"))
    assert mails.said == f"mails are written to files in {settings.outbox} and reach no one"
    assert "Set DIGSEASON_SMTP_HOST" in (mails.remedy or "")
    assert texts.remedy is None  # no one is to be told by text


def test_a_folder_of_bounces_that_is_not_there_wants_a_look(
    engine: Engine, settings: Settings, tmp_path: Path
) -> None:
    settings.bounces = tmp_path / "back"
    one = found(engine, settings, "bounces")
    assert (one.said, one.remedy is None) == (f"there is no {tmp_path / 'back'}", False)
    settings.bounces.mkdir()
    assert found(engine, settings, "bounces").remedy is None


def test_a_channel_in_trouble_wants_a_look(engine: Engine, settings: Settings) -> None:
    trouble = ChannelTrouble("mail", NOW - 3 * HOUR, 4, NOW, "refuses the login")
    with writing(engine) as connection:
        keep_trouble(connection, trouble)
    mails = found(engine, settings, "mail")
    assert mails.said.endswith("; not since 2026-03-02 09:00 UTC: refuses the login")
    assert mails.remedy


def test_a_damaged_store_wants_a_look(tmp_path: Path) -> None:
    path = tmp_path / "digseason.db"
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    with writing(engine) as connection:
        connection.execute(
            insert(tables.layout),
            [{"name": f"{n:04}", "spec": {"k": "x" * 99}} for n in range(999)],
        )
    engine.dispose()
    body = bytearray(path.read_bytes())
    place = body.index(b"xxxxxxxxx") // 4096 * 4096
    body[place : place + 4096] = bytes(4096)
    path.write_bytes(body)
    result = CliRunner().invoke(main, ["--data", str(tmp_path), "check"])
    assert result.exit_code == 1
    assert "look  integrity   the store is damaged" in result.output
    assert max(map(len, result.output.splitlines())) <= 80
