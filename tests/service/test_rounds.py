"""The round: everyone is told once, corrected once, at their hour."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from icalendar import Calendar
from sqlalchemy import Engine, delete, insert, update

from service.looking_ahead import look_ahead_if_due
from service.one_round import holding_outlooks
from service.rounds import run_due, run_round
from service.settings import Settings
from service.store import tables
from service.store.changes import count_change
from service.store.engine import writing
from service.store.round_lease import RoundHeldError
from service.store.rounds import has_unseen_changes, is_evaluation_due
from tests.mails import read_mail, text_of
from tests.planted import plant_block, plant_days, plant_recipient

pytestmark = pytest.mark.sqlite_by_day

MAY_1 = date(2025, 5, 1)
# by hand: R reaches 64 °F on the third warm day: (50 + 50 + 70 + 70 + 70) / 5 = 62 on the third,
# (50 + 4 * 70) / 5 = 66 on the fourth, 4 May
OPENED_ON = date(2025, 5, 4)
NOW = datetime(2025, 5, 6, 15, 30, tzinfo=UTC)  # 07:30 standard time, 08:30 on the wall


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data=tmp_path)


@pytest.fixture
def warmed(engine: Engine) -> Engine:
    """A store with one block that opened on 4 May 2025, and its grower."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", ("mail", "sms"))
        plant_days(connection, date(2025, 4, 1), [50.0] * 30)
        plant_days(connection, MAY_1, [70.0] * 5)
    return engine


def whats(report) -> list[tuple[str, str]]:
    return [(notice.kind, notice.what) for notice in report.notices]


@pytest.mark.both_by_day
def test_an_opening_is_told_once(warmed: Engine, settings: Settings) -> None:
    first = run_round(warmed, settings, NOW)
    second = run_round(warmed, settings, NOW + timedelta(hours=1))
    assert whats(first) == [("spring", "opened")]
    assert first.notices[0].opened_on == OPENED_ON
    assert (whats(second), second.digests, second.delivered) == ([], 0, [])
    assert len(list(settings.outbox.iterdir())) == 2


def test_each_channel_gets_its_file_with_the_cautions(warmed: Engine, settings: Settings) -> None:
    delivered = run_round(warmed, settings, NOW).delivered
    by_suffix = {path.suffix: path.read_bytes() for path in delivered}
    mail, body = read_mail(by_suffix[".eml"]), text_of(by_suffix[".eml"])
    assert mail["To"] == "ada@example.org"
    assert "Terrace 7" in mail["Subject"]
    assert "lines" in body
    assert "heat" in body.lower()
    assert by_suffix[".txt"].decode().endswith("local rules.")


def test_the_spring_window_says_by_when_it_is_over(warmed: Engine, settings: Settings) -> None:
    (notice,) = run_round(warmed, settings, NOW).notices
    assert notice.ends_by == date(2025, 6, 15)  # by hand: 42 days after 4 May


@pytest.mark.both_by_day
def test_a_notice_keeps_how_far_its_dates_may_be_off(warmed: Engine, settings: Settings) -> None:
    with writing(warmed) as connection:
        # by hand: R of 1 April + i is 62.0 + 0.08 (i - 2) °F: 64.0 at i = 27, the last that is
        # known; 0.2563 °C are 0.461 °F, so 63.539 at 21.2
        plant_days(connection, date(2025, 4, 1), [62.0 + 0.08 * i for i in range(28)])
        plant_days(connection, date(2025, 4, 29), [None] * 7)
    run_round(warmed, settings, NOW, date(2025, 4, 28))
    (message,) = settings.outbox.glob("*.txt")
    (mail,) = settings.outbox.glob("*.eml")
    assert "Opened between 23 and 28 Apr." in message.read_text(encoding="utf-8")
    assert "may be as early as 23 April, or still to come." in text_of(mail.read_bytes())


def test_a_close_is_told_once_with_its_reason(warmed: Engine, settings: Settings) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        plant_days(connection, date(2025, 5, 6), [45.0] * 7)
    # by hand: R is 60 °F on 7 May, 55 on the 8th; the fifth day of that pause is the 12th
    assert run_round(warmed, settings, NOW, as_of=date(2025, 5, 11)).notices == []
    report = run_round(warmed, settings, NOW, as_of=date(2025, 5, 12))
    assert [(n.what, n.reason) for n in report.notices] == [("closed", "cold")]
    assert run_round(warmed, settings, NOW, as_of=date(2025, 5, 12)).notices == []


@pytest.mark.both_by_day
def test_a_season_is_told_step_by_step_each_once_and_so_it_stands_in_the_calendar(
    warmed: Engine, settings: Settings
) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        plant_days(connection, date(2025, 5, 6), [70.0] * 118 + [64.0] * 20 + [50.0] * 41)
    # by hand: spring is over on 15 June, 42 days after 4 May; fall opens when R is 66.4 °F, on
    # 3 September, and closes on 22 September, when R is 58.4; two weeks later the season is over
    told = {
        date(2025, 6, 7): [],
        date(2025, 6, 8): [("spring", "closing soon")],
        date(2025, 6, 9): [],
        date(2025, 6, 15): [("spring", "closed")],
        date(2025, 9, 3): [("fall", "opened")],
        date(2025, 9, 26): [("fall", "closed")],
        date(2025, 10, 5): [],
        date(2025, 10, 6): [("fall", "season summary")],
        date(2025, 10, 7): [],
    }
    assert {day: whats(run_round(warmed, settings, NOW, as_of=day)) for day in told} == told
    mails = [read_mail(path.read_bytes()) for path in sorted(settings.outbox.glob("*.eml"))]
    events = [
        Calendar.from_ical(part.get_content()).walk("VEVENT")[0]
        for mail in mails
        for part in mail.iter_attachments()
    ]
    # source: [RFC-5546] 2.1.4, SEQUENCE grows with each change
    assert [(event["SEQUENCE"], event.decoded("DTEND", None)) for event in events] == [
        (0, date(2025, 6, 15)),
        (2, date(2025, 6, 15)),
        (0, None),
        (1, date(2025, 9, 22)),
    ]
    assert len({str(event["UID"]) for event in events}) == 2
    assert "Fall dig season was open from 3 September to 21 September: 19 days" in text_of(
        sorted(settings.outbox.glob("*.eml"))[-1].read_bytes()
    )


@pytest.mark.both_by_day
def test_an_opening_that_late_readings_take_back_is_corrected_once(
    warmed: Engine, settings: Settings
) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        plant_days(connection, MAY_1, [52.0] * 5)
    report = run_round(warmed, settings, NOW)
    assert [(n.what, n.told_opened_on, n.opened_on) for n in report.notices] == [
        ("corrected", OPENED_ON, None)
    ]
    assert run_round(warmed, settings, NOW).notices == []


def test_an_opening_that_late_readings_move_is_corrected_to_its_new_day(
    warmed: Engine, settings: Settings
) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        plant_days(connection, MAY_1, [52.0, 70.0, 70.0, 70.0, 70.0])
    (notice,) = run_round(warmed, settings, NOW).notices
    # by hand: (52 + 4 * 70) / 5 = 66.4 on 5 May; the day before (50 + 52 + 3 * 70) / 5 = 62.4
    assert (notice.told_opened_on, notice.opened_on) == (OPENED_ON, date(2025, 5, 5))


def test_a_round_as_of_an_earlier_day_takes_nothing_back(
    warmed: Engine, settings: Settings
) -> None:
    run_round(warmed, settings, NOW)
    assert run_round(warmed, settings, NOW, as_of=date(2025, 4, 20)).notices == []


def test_a_window_that_the_season_s_end_closes_is_told_on_new_year(
    engine: Engine, settings: Settings
) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example")
        plant_days(connection, date(2025, 6, 1), [50.0] * 30 + [75.0] * 60 + [66.0] * 130)
    december = run_round(engine, settings, NOW, as_of=date(2025, 12, 31))
    january = run_round(engine, settings, NOW, as_of=date(2026, 1, 1))
    assert whats(december) == [("fall", "opened")]
    assert [(n.what, n.reason) for n in january.notices] == [("closed", "season over")]


def test_who_joins_later_is_not_told_old_news(warmed: Engine, settings: Settings) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        plant_recipient(connection, "Ben Example")
    assert run_round(warmed, settings, NOW).digests == 0


def test_who_is_retired_is_told_nothing(warmed: Engine, settings: Settings) -> None:
    with writing(warmed) as connection:
        connection.execute(update(tables.recipient).values(retired_at=NOW))
    report = run_round(warmed, settings, NOW)
    assert (whats(report), report.digests) == ([("spring", "opened")], 0)


@pytest.mark.parametrize(
    ("now", "digests"),
    [
        # by hand: Los Angeles is at UTC-07:00 in May
        pytest.param(datetime(2025, 5, 6, 13, 59, tzinfo=UTC), 0, id="06:59 is before their hour"),
        pytest.param(datetime(2025, 5, 6, 14, 0, tzinfo=UTC), 1, id="07:00 is their hour"),
    ],
)
def test_the_clock_s_round_tells_each_at_their_hour(warmed, settings, now, digests) -> None:
    assert run_due(warmed, settings, now).digests == digests


@pytest.mark.both_by_day
def test_the_clock_s_round_tells_at_most_once_a_day(warmed: Engine, settings: Settings) -> None:
    run_due(warmed, settings, NOW)
    with writing(warmed) as connection:
        plant_days(connection, MAY_1, [52.0] * 5)
        connection.execute(update(tables.round_).values(started_at=NOW - timedelta(days=1)))
    same_day = run_due(warmed, settings, NOW + timedelta(hours=2))
    next_day = run_due(warmed, settings, NOW + timedelta(days=1))
    assert (whats(same_day), same_day.digests) == ([("spring", "corrected")], 0)
    assert next_day.digests == 1


def test_the_clock_s_round_of_a_day_s_end_waits_for_its_outlooks(
    warmed: Engine, settings: Settings
) -> None:
    last_minute = datetime(2025, 5, 7, 7, 59, tzinfo=UTC)  # 23:59 standard time
    after = last_minute + timedelta(minutes=1)
    looked_ahead = [look_ahead_if_due(warmed, settings, NOW)]
    run_due(warmed, settings, NOW)
    looked_ahead.append(look_ahead_if_due(warmed, settings, last_minute))
    assert run_due(warmed, settings, last_minute).evaluations == []
    assert run_due(warmed, settings, after).evaluations == []
    looked_ahead.append(look_ahead_if_due(warmed, settings, after))
    assert len(run_due(warmed, settings, after).evaluations) == 1
    assert run_due(warmed, settings, after).evaluations == []
    assert [len(found) for found in looked_ahead] == [1, 0, 1]


def test_who_has_no_outlooks_to_find_asks_no_one_whether_they_may(
    warmed: Engine, settings: Settings
) -> None:
    look_ahead_if_due(warmed, settings, NOW)
    with holding_outlooks(warmed):
        assert look_ahead_if_due(warmed, settings, NOW) == []
        with pytest.raises(RoundHeldError):
            look_ahead_if_due(warmed, settings, NOW + timedelta(days=1))


def test_but_not_for_more_than_an_hour(warmed: Engine, settings: Settings) -> None:
    midnight = datetime(2025, 5, 7, 8, tzinfo=UTC)  # standard time
    run_due(warmed, settings, NOW)
    assert run_due(warmed, settings, midnight + timedelta(minutes=59)).evaluations == []
    assert len(run_due(warmed, settings, midnight + timedelta(hours=1)).evaluations) == 1


@pytest.mark.both_by_day
def test_outlooks_are_found_again_once_readings_change_but_not_all_the_time(
    warmed: Engine, settings: Settings
) -> None:
    def look(at: datetime) -> int:
        return len(look_ahead_if_due(warmed, settings, at))

    look(NOW)
    with writing(warmed) as connection:
        count_change(connection, "u1")
        connection.execute(update(tables.look_ahead).values(took_s=30.0))
    # by hand: it took from 15:30:00 to 15:30:30, and rests for ten times as long
    assert look(NOW + timedelta(seconds=329)) == 0
    assert look(NOW + timedelta(seconds=330)) == 1
    assert look(NOW + timedelta(hours=2)) == 0


@pytest.mark.parametrize(("took_s", "rests_s"), [(2, 0), (30, 330)])
def test_where_loggers_push_all_the_time_a_long_round_rests(
    warmed: Engine, settings: Settings, took_s: int, rests_s: int
) -> None:
    run_due(warmed, settings, NOW)
    with writing(warmed) as connection:
        count_change(connection, "u1")
        ended_at = NOW + timedelta(seconds=took_s)
        connection.execute(update(tables.round_).values(finished_at=ended_at))
        # by hand: it rests for ten times as long as it took, from when it was through
        if rests_s:
            assert not is_evaluation_due(connection, NOW + timedelta(seconds=rests_s - 1))
        assert is_evaluation_due(connection, NOW + timedelta(seconds=rests_s))
        assert has_unseen_changes(connection)


def test_a_round_by_hand_finds_the_outlooks_of_the_day(warmed: Engine, settings: Settings) -> None:
    run_round(warmed, settings, NOW)
    assert look_ahead_if_due(warmed, settings, NOW) == []
    assert run_due(warmed, settings, NOW).evaluations == []


def test_without_a_block_a_round_has_nothing_to_say(engine: Engine, settings: Settings) -> None:
    report = run_round(engine, settings, NOW)
    assert (report.evaluations, report.notices, report.digests) == ([], [], 0)


@pytest.mark.both_by_day
def test_nobody_is_told_of_a_site_for_study(engine: Engine, tmp_path: Path) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example")
        plant_days(connection, date(2025, 4, 1), [62.0] * 30 + [66.0] * 10)
        connection.execute(insert(tables.site_for_study).values(site_id="upper"))
    report = run_round(engine, Settings(data=tmp_path), NOW, date(2025, 5, 10))
    assert (report.evaluations, report.notices, report.digests) == ([], [], 0)
    with writing(engine) as connection:
        connection.execute(delete(tables.site_for_study))
    report = run_round(engine, Settings(data=tmp_path), NOW, date(2025, 5, 10))
    assert [notice.what for notice in report.notices] == ["opened"]
