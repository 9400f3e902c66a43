"""What was found is told at once: to growers, and to the coordinator only where they agreed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, insert, select, update

from alerts.dig.records import DigRecord, Insects, Roots, Specimen, Swellings
from service.finds.keeping import keep_find, withdraw_find
from service.forgetting import forget
from service.rounds import run_due, run_round
from service.settings import Settings
from service.store import tables
from service.store.engine import reading, writing
from service.store.finds_consents import agree_to_finds, take_finds_back
from service.store.forgetting import fetch_person
from tests.dig_records import dig_record
from tests.mails import text_of
from tests.planted import plant_block, plant_recipient
from tests.stores import rows_of

NOW = datetime(2025, 5, 6, 10, tzinfo=UTC)  # 03:00 on the wall, before anyone's hour
ADA, CORA, RUTH = "Ada Example", "Cora Example", "Ruth Example"
SUSPECTED = dig_record(1, swellings=Swellings.PALE, insects=Insects.FEW, person="Ben Example")

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """A block of a grower who has mail and SMS, with a coordinator and a researcher."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, ADA, ("mail", "sms"))
        for name, role in ((CORA, "coordinator"), (RUTH, "researcher")):
            plant_recipient(connection, name)
            of_one = update(tables.recipient).where(tables.recipient.c.name == name)
            connection.execute(of_one.values(role=role))
    return engine


def keep(engine: Engine, record: DigRecord, now: datetime = NOW) -> None:
    with writing(engine) as connection:
        keep_find(connection, record, "ben@example.org", now)


def tell(engine: Engine, tmp_path: Path, now: datetime = NOW) -> list[tuple[str, str, str]]:
    """Run what is due; return reader, channel and text of what it put into the outbox."""
    with reading(engine) as connection:
        before = len(connection.execute(select(tables.outbox.c.id)).all())
    run_due(engine, Settings(data=tmp_path), now)
    query = select(tables.digest.c.recipient_name, tables.outbox.c.channel, tables.outbox.c.message)
    with reading(engine) as connection:
        rows = connection.execute(query.join(tables.outbox).order_by(tables.outbox.c.id)).all()
    return [
        (name, channel, text if channel == "sms" else text_of(text.encode()))
        for name, channel, text in rows[before:]
    ]


def test_a_suspicion_is_told_to_the_grower_at_once_and_to_no_one_else(
    farm: Engine, tmp_path: Path
) -> None:
    keep(farm, SUSPECTED)
    mail, text = tell(farm, tmp_path)
    assert ([*mail[:2]], [*text[:2]]) == ([ADA, "mail"], [ADA, "sms"])
    letter = " ".join(mail[2].split())
    assert letter.startswith("Phylloxera suspected in Terrace 7, not confirmed. Terrace 7, Upper")
    assert "Suspected: row 3, vine 1, dug on 6 May by Ben Example: live fine roots, pale" in letter
    assert "only a specialist who has seen a specimen can confirm it" in letter
    assert "Local rules may require a report" in letter
    assert "Nothing is reported or published from here by itself" in letter
    assert "The coordinator is not told unless you agree to that" in letter
    assert text[2] == (
        "Phylloxera suspected in Terrace 7, not confirmed: row 3, vine 1. Have a specimen seen by "
        "a specialist; local rules may require a report."
    )
    assert tell(farm, tmp_path) == []


@one_database
def test_what_comes_within_the_hour_is_told_together(farm: Engine, tmp_path: Path) -> None:
    keep(farm, SUSPECTED)
    tell(farm, tmp_path)
    for number in (2, 3):
        keep(farm, dig_record(number, insects=Insects.MANY))
    assert tell(farm, tmp_path, NOW + timedelta(minutes=59)) == []
    mail, text = tell(farm, tmp_path, NOW + timedelta(minutes=60))
    assert mail[2].count("Suspected: row 3") == 2
    assert "row 3, vine 2 +1." in text[2]


@one_database
def test_who_was_told_by_a_clock_that_was_ahead_need_not_wait_for_it(
    farm: Engine, tmp_path: Path
) -> None:
    keep(farm, SUSPECTED)
    assert len(tell(farm, tmp_path, NOW + timedelta(days=40))) == 2
    keep(farm, dig_record(2, insects=Insects.MANY))
    assert len(tell(farm, tmp_path)) == 2


@one_database
@pytest.mark.parametrize(
    "seen", [{}, {"roots": Roots.NONE}, {"specimen": Specimen.ANOTHER, "insects": Insects.SOME}]
)
def test_a_dig_without_a_suspicion_sends_nothing(
    farm: Engine, tmp_path: Path, seen: dict[str, object]
) -> None:
    keep(farm, dig_record(1, **seen))
    assert tell(farm, tmp_path) == []


@one_database
def test_the_coordinator_is_told_only_while_the_grower_agrees(farm: Engine, tmp_path: Path) -> None:
    with writing(farm) as connection:
        assert agree_to_finds(connection, "upper", ADA, NOW)
        assert not agree_to_finds(connection, "upper", ADA, NOW)
    keep(farm, SUSPECTED)
    told = tell(farm, tmp_path)
    assert [one[:2] for one in told] == [(ADA, "mail"), (ADA, "sms"), (CORA, "mail")]
    assert "and the coordinator, as was agreed on 6 May" in " ".join(told[0][2].split())
    assert "You are told because the grower agreed to it." in told[2][2]
    later = NOW + timedelta(hours=2)
    keep(farm, dig_record(2, insects=Insects.FEW), later)
    with writing(farm) as connection:
        assert take_finds_back(connection, "upper", ADA, later)
    assert {one[0] for one in tell(farm, tmp_path, later)} == {ADA}


@one_database
def test_what_is_confirmed_or_taken_back_is_told_to_who_heard_of_it(
    farm: Engine, tmp_path: Path
) -> None:
    keep(farm, SUSPECTED)
    keep(farm, dig_record(2, insects=Insects.FEW))
    tell(farm, tmp_path)
    day = timedelta(days=1)
    confirmed = dig_record(1, insects=Insects.FEW, specimen=Specimen.CONFIRMED)
    keep(farm, confirmed, NOW + day)
    keep(farm, dig_record(2, insects=Insects.FEW, specimen=Specimen.ANOTHER), NOW + day)
    mail, text = tell(farm, tmp_path, NOW + day)
    assert "Confirmed: row 3, vine 1" in mail[2]
    assert "Taken back: row 3, vine 2" in mail[2]
    assert "specimen was something else" in " ".join(mail[2].split())
    assert text[2] == (
        "Phylloxera confirmed in Terrace 7: row 3, vine 1 +1. Local rules may require a report. "
        "Work here last."
    )
    with writing(farm) as connection:
        withdraw_find(connection, confirmed, ADA, "wrong block", NOW + 2 * day)
    mail, _text = tell(farm, tmp_path, NOW + 2 * day)
    assert "dug on 6 May by Ada Example; it was withdrawn." in " ".join(mail[2].split())


@one_database
def test_a_suspicion_that_is_corrected_before_it_was_told_is_not(
    farm: Engine, tmp_path: Path
) -> None:
    keep(farm, SUSPECTED)
    keep(farm, dig_record(1))
    assert tell(farm, tmp_path) == []


@one_database
def test_a_look_back_tells_nothing_of_it_and_a_round_by_hand_does(
    farm: Engine, tmp_path: Path
) -> None:
    keep(farm, SUSPECTED)
    settings = Settings(data=tmp_path)
    assert run_round(farm, settings, NOW, date(2025, 4, 1)).digests == 0
    report = run_round(farm, settings, NOW)
    assert (report.digests, len(report.delivered)) == (1, 2)


@one_database
def test_a_person_is_handed_their_records_and_forgotten_in_them(
    farm: Engine, tmp_path: Path
) -> None:
    photo = {"record_id": SUSPECTED.record_id, "sha256": "7f", "content": b"\xff"}
    with writing(farm) as connection:
        keep_find(connection, dig_record(1, person=ADA), ADA, NOW)
        keep_find(connection, SUSPECTED, ADA, NOW)
        keep_find(connection, dig_record(2, person=ADA), "ben@example.org", NOW)
        connection.execute(insert(tables.dig_photo).values(**photo, kept_at=NOW, kept_by=ADA))
        agree_to_finds(connection, "upper", ADA, NOW)
    tell(farm, tmp_path)
    with writing(farm) as connection:
        found = fetch_person(connection, ADA)
        assert {"dig_record", "dig_record_earlier", "dig_photo", "finds_consent"} <= found.keys()
        assert len(found["dig_record"]) == 2
        forget(connection, Settings(data=tmp_path), ADA, NOW)
    after = rows_of(farm)
    assert ADA not in repr(after)
    assert len(after["dig_record"]) == 2
