"""Loggers, stations and probes that stop are told once to whom it concerns, and once when back."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from sqlalchemy import Engine, func, select, update

from alerts.silence_news import SilenceNotice
from service.rounds import RoundReport, run_due, run_round
from service.settings import Settings
from service.silences import find_turned_silences, keep_silences
from service.store import tables
from service.store.engine import reading, writing
from tests.brought import deliver
from tests.farms import STATION_ELSEWHERE, farm_text, set_up
from tests.mails import read_mail, text_of
from tests.plain_silence import is_silent

pytestmark = pytest.mark.sqlite_by_day

# by hand: 14:00 UTC is midnight of the site's standard time, UTC+10:00
BEGUN = datetime(2026, 3, 1, 14, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
MINUTES_15 = timedelta(minutes=15)

PEOPLE = """
[[block]]
id = "ledge"
site = "upper"
name = "Ledge"
probes = ["u1:15"]

[[recipient]]
name = "Ben Example"
role = "grower"
email = "ben@example.org"
channels = ["mail"]
blocks = ["ledge"]

[[recipient]]
name = "Coordinator"
role = "coordinator"
email = "office@example.org"
channels = ["mail"]
"""
FARM = farm_text(more=PEOPLE).replace(
    'name = "Terrace 7"', 'name = "Terrace 7"\nprobes = ["u1:15", "u1:30", "u1:45"]'
)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data=tmp_path)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """Terrace 7 rests on 15, 30 and 45 cm of one logger, Ledge on 15 cm; Ada hears of all blocks,
    Ben of Ledge."""
    set_up(engine, FARM)
    return engine


def push_days(engine: Engine, first_day: int, last_day: int, **how) -> None:
    """Bring a day's readings at the end of each day."""
    with writing(engine) as connection:
        for day in range(first_day, last_day + 1):
            end = BEGUN + day * DAY
            deliver(connection, end - 23 * HOUR, end, end, **how)


def rounds(engine: Engine, settings: Settings, *days: float) -> list[SilenceNotice]:
    """Run a round after each of these days; return what is new of loggers in all of them."""
    reports = [run_round(engine, settings, BEGUN + day * DAY) for day in days]
    return [silence for report in reports for silence in report.silences]


def mails(report: RoundReport) -> dict[str, str]:
    """Return the text of each mail of a round on one line, by whom it is to."""
    delivered = [path.read_bytes() for path in report.delivered]
    return {str(read_mail(one)["To"]): text_of(one) for one in delivered}


@pytest.mark.both_by_day
def test_pushes_that_stop_are_told_once_and_once_more_when_they_are_back(
    farm: Engine, settings: Settings
) -> None:
    with writing(farm) as connection:
        for i in range(3 * 24):  # an hour's readings every hour, for three days
            start = BEGUN + i * HOUR
            end = start + 3 * MINUTES_15
            deliver(connection, start, end, end, every=MINUTES_15)
    # by hand: the last reading is of 3 d - 15 min; three hours are less than a day
    last = 3 - 15 / 1440
    assert rounds(farm, settings, last, last + 0.999) == []
    (stopped,) = rounds(farm, settings, last + 1, last + 1.5, last + 9)
    with writing(farm) as connection:
        back = BEGUN + 20 * DAY
        deliver(connection, back - HOUR, back, back, every=MINUTES_15)
    (returned,) = rounds(farm, settings, 20, 20.5)
    assert (stopped.what, stopped.logger_id, stopped.depth_cm) == ("stopped", "u1", None)
    assert stopped.last_on == date(2026, 3, 4)  # by hand: 2 March is the first day
    assert (returned.what, returned.last_on) == ("returned", date(2026, 3, 4))
    assert returned.back_on == date(2026, 3, 21)


BORROWER = """
[[site]]
id = "over"
name = "Over Merrin"
timezone = "Australia/Sydney"
latitude = -33.42
longitude = 149.6
elevation_m = 740
district = "merrin"

[[block]]
id = "brow"
site = "over"
name = "Brow"

[[recipient]]
name = "Cleo Example"
role = "grower"
email = "cleo@example.org"
channels = ["mail"]
blocks = ["brow"]
"""


def test_who_reads_of_a_block_that_borrows_is_told_that_its_lender_is_silent(
    engine: Engine, settings: Settings
) -> None:
    set_up(engine, FARM + BORROWER)
    push_days(engine, 1, 10)
    rounds(engine, settings, 10)
    stop = run_round(engine, settings, BEGUN + 14 * DAY)
    assert [one.what for one in stop.silences] == ["stopped"]
    told = mails(stop)["cleo@example.org"]
    assert "No readings since 11 March. Borrowed from it: Brow. Until readings come" in told
    assert "Look at its battery" not in told
    ours = mails(stop)["ada@example.org"]
    assert "unseen in Ledge and Terrace 7. Borrowed from it: Brow." in ours
    assert "Look at its battery" in ours
    push_days(engine, 11, 15)
    assert (
        "Borrowed from it again: Brow."
        in mails(run_round(engine, settings, BEGUN + 15 * DAY))["cleo@example.org"]
    )


def test_late_readings_that_fill_the_gap_end_the_silence_with_nothing_missing(
    farm: Engine, settings: Settings
) -> None:
    push_days(farm, 1, 10)
    (stopped,) = rounds(farm, settings, 13)
    push_days(farm, 11, 14)
    (returned,) = rounds(farm, settings, 14)
    assert (stopped.what, returned.what, returned.back_on) == ("stopped", "returned", None)


def test_a_hole_that_stays_is_told_though_some_late_readings_have_come(
    farm: Engine, settings: Settings
) -> None:
    push_days(farm, 1, 10)
    rounds(farm, settings, 14)
    push_days(farm, 11, 11)
    push_days(farm, 15, 15)
    (returned,) = rounds(farm, settings, 15)
    # by hand: day 11 ends with 12 March, day 15 is 16 March
    assert (returned.last_on, returned.back_on) == (date(2026, 3, 12), date(2026, 3, 16))


def test_a_logger_emptied_by_hand_gets_a_reminder_and_no_more(
    farm: Engine, settings: Settings
) -> None:
    with writing(farm) as connection:
        for month in range(3):
            end = BEGUN + 30 * (month + 1) * DAY
            deliver(connection, end - 30 * DAY + HOUR, end, end, by="file")
    assert rounds(farm, settings, 91, 100, 119.9) == []
    (due,) = rounds(farm, settings, 120, 121, 150, 300)
    with writing(farm) as connection:
        end = BEGUN + 301 * DAY
        deliver(connection, BEGUN + 90 * DAY + HOUR, end, end, by="file")
    assert (due.what, due.usual_days) == ("due", 30)
    assert rounds(farm, settings, 301, 330.9) == []
    assert [one.what for one in rounds(farm, settings, 331)] == ["due"]


def test_a_download_is_not_the_coordinator_s_errand(farm: Engine, settings: Settings) -> None:
    with writing(farm) as connection:
        for week in range(3):
            end = BEGUN + 7 * (week + 1) * DAY
            deliver(connection, end - 7 * DAY + HOUR, end, end, by="file")
    report = run_round(farm, settings, BEGUN + 28 * DAY)
    assert [one.what for one in report.silences] == ["due"]
    assert sorted(mails(report)) == ["ada@example.org", "ben@example.org"]


@pytest.mark.both_by_day
def test_one_depth_that_stops_while_others_go_on_is_told_to_those_who_rest_on_it(
    farm: Engine, settings: Settings
) -> None:
    push_days(farm, 1, 10)
    push_days(farm, 11, 11, without=["T30"])
    report = run_round(farm, settings, BEGUN + 11 * DAY)
    assert [(one.what, one.depth_cm) for one in report.silences] == [("stopped", 30.0)]
    told = mails(report)
    assert sorted(told) == ["ada@example.org", "office@example.org"]
    assert "Logger u1 at 30 cm: no readings since 11 Mar." in told["ada@example.org"]
    assert "unseen in Terrace 7." in told["ada@example.org"]
    push_days(farm, 12, 12, without=["T30"])
    assert rounds(farm, settings, 12) == []
    push_days(farm, 13, 13)
    (back,) = rounds(farm, settings, 13)
    assert (back.what, back.depth_cm) == ("returned", 30.0)


def test_each_hears_of_their_own_blocks_only(farm: Engine, settings: Settings) -> None:
    push_days(farm, 1, 10)
    told = mails(run_round(farm, settings, BEGUN + 14 * DAY))
    assert "unseen in Ledge." in told["ben@example.org"]
    assert "unseen in Ledge and Terrace 7." in told["ada@example.org"]


def test_where_no_block_rests_on_a_depth_those_of_its_site_are_told(
    engine: Engine, settings: Settings
) -> None:
    set_up(engine, FARM.replace('"u1:15", "u1:30", "u1:45"', '"u1:15", "u1:30"'))
    push_days(engine, 1, 10)
    push_days(engine, 11, 11, without=["T45"])
    told = mails(run_round(engine, settings, BEGUN + 11 * DAY))
    assert sorted(told) == ["ada@example.org", "ben@example.org", "office@example.org"]
    assert "unseen" not in told["ada@example.org"]


def test_values_that_cannot_be_right_are_no_readings(farm: Engine, settings: Settings) -> None:
    push_days(farm, 1, 10)
    push_days(farm, 11, 14, temp_c=-125.0)
    (stopped,) = rounds(farm, settings, 14)
    assert (stopped.what, stopped.unusable, stopped.last_on) == (
        "stopped",
        True,
        date(2026, 3, 11),
    )


@pytest.mark.both_by_day
def test_a_station_that_stops_says_why_it_cannot_be_fetched(
    engine: Engine, settings: Settings
) -> None:
    text = farm_text(more=STATION_ELSEWHERE).replace(
        'name = "Terrace 7"', 'name = "Terrace 7"\nprobes = ["b1:20"]'
    )
    set_up(engine, text)
    with writing(engine) as connection:
        probe = {"logger_id": "b1", "channel": "SOIL_TEMP_20"}
        probe_id = connection.execute(
            tables.probe.insert().values(probe).returning(tables.probe.c.id)
        ).scalar_one()
        stretch = {"valid_from": date.min, "depth_cm": 20.0, "calibration_offset_c": 0.0}
        connection.execute(tables.probe_stretch.insert().values(probe_id=probe_id, **stretch))
        for day in range(1, 11):
            end = BEGUN + day * DAY
            of_station = {"logger_id": "b1", "channels": ["SOIL_TEMP_20"], "by": "feed"}
            deliver(connection, end - 23 * HOUR, end, end, **of_station)
        failure = {"failing_since": BEGUN + 10.2 * DAY, "failure": "the server answers 503"}
        connection.execute(update(tables.feed_state).values(failure))
    told = mails(run_round(engine, settings, BEGUN + 13 * DAY))["ada@example.org"]
    assert "Station b1: no readings since 11 Mar." in told
    assert "Fetching it has failed since 11 March: the server answers 503." in told
    assert "battery" not in told


@pytest.mark.parametrize(
    "table",
    [
        pytest.param({"retired_at": BEGUN + 11 * DAY}, id="retired"),
        pytest.param({"kind": "hand"}, id="a thermometer read by hand"),
    ],
)
def test_nothing_is_told_of(farm: Engine, settings: Settings, table) -> None:
    push_days(farm, 1, 10)
    with writing(farm) as connection:
        connection.execute(update(tables.logger).values(table))
    assert rounds(farm, settings, 14, 40) == []


def test_nothing_is_told_of_a_logger_that_never_sent_or_is_new(
    farm: Engine, settings: Settings
) -> None:
    never = rounds(farm, settings, 0, 30)
    push_days(farm, 31, 34)
    assert (never, rounds(farm, settings, 37.9)) == ([], [])
    assert [one.what for one in rounds(farm, settings, 38)] == ["stopped"]


def test_what_is_retired_while_it_is_silent_never_comes_back(
    farm: Engine, settings: Settings
) -> None:
    push_days(farm, 1, 10)
    rounds(farm, settings, 14)
    with writing(farm) as connection:
        connection.execute(update(tables.logger).values(retired_at=BEGUN + 15 * DAY))
    assert rounds(farm, settings, 16) == []
    with reading(farm) as connection:
        lasting = select(func.count()).where(tables.silence.c.returned_at.is_(None))
        assert connection.scalar(lasting) == 0


def test_a_look_back_tells_nothing_of_silences_and_leaves_what_waits(
    farm: Engine, settings: Settings
) -> None:
    push_days(farm, 1, 10)
    now = datetime(2026, 3, 15, 14, tzinfo=UTC)  # 01:00 in Sydney, before anyone's hour
    back = run_round(farm, settings, now, as_of=date(2026, 3, 14))
    by_the_clock = run_due(farm, settings, now)
    back_again = run_round(farm, settings, now, as_of=date(2026, 3, 14))
    in_the_morning = run_due(farm, settings, now + 8 * HOUR)
    assert (back.silences, back.digests) == ([], 0)
    assert ([one.what for one in by_the_clock.silences], by_the_clock.digests) == (["stopped"], 0)
    assert (back_again.silences, back_again.digests) == ([], 0)
    assert (in_the_morning.silences, in_the_morning.digests) == ([], 3)


@pytest.mark.both_by_day
def test_a_round_that_dies_keeps_no_silence_and_the_next_one_tells_it(
    farm: Engine, settings: Settings
) -> None:
    push_days(farm, 1, 10)
    now = BEGUN + 14 * DAY
    with farm.connect() as connection:  # not committed
        lost = find_turned_silences(connection, [], now, settings.silent_factor)
        keep_silences(connection, lost, now)
    report = run_round(farm, settings, now)
    assert report.silences == lost.notices
    assert ([one.what for one in report.silences], report.digests) == (["stopped"], 3)


def test_a_factor_of_one_notices_a_missing_day_at_once(farm: Engine, tmp_path: Path) -> None:
    push_days(farm, 1, 10)
    hasty = Settings(data=tmp_path, silent_factor=1)
    assert [one.what for one in rounds(farm, hasty, 10.9, 11)] == ["stopped"]


def test_a_probe_that_was_taken_out_is_not_silent(farm: Engine, settings: Settings) -> None:
    push_days(farm, 1, 10)
    push_days(farm, 11, 16, without=["T45"])
    ended = 'probes = [{ column = "T45", depth_cm = 45, until = 2026-03-12 }]'
    set_up(farm, FARM.replace('layout = "plain"', f'layout = "plain"\n{ended}'))
    assert rounds(farm, settings, 14, 16) == []


@pytest.mark.both_by_day
@pytest.mark.parametrize(
    ("of_site", "of_logger", "told"),
    [(1, None, ["stopped"]), (4, 1, ["stopped"]), (1, 4, [])],
)
def test_the_farm_file_says_how_late_those_of_a_site_or_one_of_them_may_be(
    farm: Engine, settings: Settings, of_site: int, of_logger: int | None, told: list[str]
) -> None:
    text = FARM.replace('name = "Upper', f'silent_factor = {of_site}\nname = "Upper')
    if of_logger:
        text = text.replace('layout = "plain"', f'layout = "plain"\nsilent_factor = {of_logger}')
    set_up(farm, text)
    push_days(farm, 1, 10)
    assert [one.what for one in rounds(farm, settings, 10.9, 11)] == told


@pytest.mark.parametrize(
    ("last_at", "day"),
    [
        # by hand: 5 October 2025 begins summer time, UTC+11:00; days are cut at UTC+10:00
        pytest.param(datetime(2025, 12, 1, 13, 0, tzinfo=UTC), date(2025, 12, 1), id="23:00"),
        pytest.param(datetime(2025, 12, 1, 14, 0, tzinfo=UTC), date(2025, 12, 1), id="24:00"),
        pytest.param(datetime(2025, 12, 1, 15, 0, tzinfo=UTC), date(2025, 12, 2), id="01:00"),
    ],
)
def test_the_last_day_is_one_of_standard_time(
    farm: Engine, settings: Settings, last_at: datetime, day: date
) -> None:
    with writing(farm) as connection:
        for back in range(9, -1, -1):
            end = last_at - back * DAY
            deliver(connection, end - 23 * HOUR, end, end)
    (stopped,) = run_round(farm, settings, last_at + 4 * DAY).silences
    assert stopped.last_on == day


def test_a_logger_that_sends_each_morning_is_not_silent_when_clocks_change(
    farm: Engine, settings: Settings
) -> None:
    # by hand: 07:00 in Sydney is 20:00 UTC in summer time and 21:00 UTC from 5 April 2026 on
    mornings = [datetime(2026, 3, 28, 20, tzinfo=UTC) + i * DAY for i in range(8)]
    mornings += [datetime(2026, 4, 5, 21, tzinfo=UTC) + i * DAY for i in range(3)]
    hasty = Settings(data=settings.data, silent_factor=1.05)  # 25.2 hours
    told = []
    for number, morning in enumerate(mornings):
        with writing(farm) as connection:
            since = mornings[number - 1] if number else morning - DAY
            deliver(connection, since + HOUR, morning, morning)
        told += run_round(farm, hasty, morning).silences
        told += run_round(farm, hasty, morning + 24.9 * HOUR).silences
    assert told == []


@pytest.mark.both_by_day
@pytest.mark.parametrize("seed", [0, *(pytest.param(n, marks=pytest.mark.long) for n in (2, 3, 4))])
def test_whenever_rounds_run_each_silence_is_told_once_and_each_return_once(
    farm: Engine, settings: Settings, seed: int
) -> None:
    chance = Random(seed)  # noqa: S311 (a history, no secret)
    arrivals, hour = [], 0
    while hour < 25 * 24:
        hour += chance.choice([24, 24, 24, 24, 24, 60, 24 * 9])
        arrivals.append(hour)
    came: list[tuple[float, float]] = []
    events = [(hour, "delivery") for hour in arrivals]
    events += [(chance.randrange(40 * 24) + 0.5, "round") for _ in range(16)]
    told, silent = [], [False]
    for hour, event in sorted(events):
        now = BEGUN + hour * HOUR
        if event == "delivery":
            with writing(farm) as connection:
                deliver(connection, now - 5 * HOUR, now, now)
            came.append((hour, hour))
            continue
        told.append([one.what for one in run_round(farm, settings, now).silences])
        silent.append(is_silent(came, False, 1, hour, settings.silent_factor))
    turns = {(False, True): ["stopped"], (True, False): ["returned"]}
    expected = [turns.get((silent[i], silent[i + 1]), []) for i in range(len(told))]
    assert told == expected
    assert ["stopped"] in told
    with reading(farm) as connection:
        count = select(func.count()).select_from(tables.silence_recipient)
        # Ada, Ben and the coordinator, each time, and none of it waits
        assert connection.scalar(count) == 3 * sum(map(len, told))
        waiting = tables.silence_recipient.c.digest_id.is_(None)
        assert connection.scalar(count.where(waiting)) == 0
