"""Fetching stations into the store: nothing lost and nothing doubled, whatever the server does."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, select

from service import fetches
from service.fetches import FetchReport, fetch_days, fetch_due, fetch_new
from service.fetching.http import Fetcher
from service.intake.undoing import withdraw
from service.store import tables
from service.store.engine import reading, writing
from service.store.stations import StationRow, claim_attempt, fetch_stations
from tests import farms
from tests.crn_files import by_year, daily_lines, hourly_lines
from tests.farms import STATION_ELSEWHERE, set_up
from tests.http_server import Asked, HttpServer, Reply, http_server

pytestmark = pytest.mark.sqlite_by_day

PATTERN = "/hourly02/{year}/CRNH0203-{year}-XX_Low_Bench_3_N.txt"
FIRST = datetime(2025, 3, 1, 9, tzinfo=UTC)
HOURS = [[hour / 10, hour / 10 + 1, -9999, -9999, -9999] for hour in range(48)]
NOW = FIRST + timedelta(days=3)


@pytest.fixture
def server() -> Iterator[HttpServer]:
    with http_server() as running:
        running.answers = files_of(hourly_lines(FIRST, HOURS))
        yield running


@pytest.fixture
def farm(engine: Engine, server: HttpServer) -> Engine:
    """A store with a station that has never been fetched."""
    url = f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\nfirst_day = 2025-02-01\n'
    set_up(engine, farms.farm_text(north=True) + STATION_ELSEWHERE + url)
    return engine


def files_of(lines: list[str], pattern: str = PATTERN) -> Callable[[Asked], Reply]:
    """Return how a server answers that has these lines, with validators."""
    files = by_year(lines, pattern)

    def answers(asked: Asked) -> Reply:
        body = files.get(asked.path)
        if body is None:
            return Reply(b"not found", 404)
        tag = f'"{len(body)}-{hash(body)}"'
        if asked.headers.get("If-None-Match") == tag:
            return Reply(status=304)
        return Reply(body, headers={"ETag": tag})

    return answers


def make(station: StationRow, known: Any) -> Fetcher:
    """Make a fetcher that is quick and never sleeps."""
    return Fetcher(
        allow_hosts=station.spec["allow_hosts"] or (),
        known=known,
        between_requests_s=0,
        sleep=lambda _: None,
        read_timeout_s=0.3,
        whole_answer_s=0.5,
        largest_bytes=100_000,
    )


def the_station(engine: Engine) -> StationRow:
    with reading(engine) as connection:
        (station,) = fetch_stations(connection)
    return station


def fetch(engine: Engine, now: datetime = NOW) -> FetchReport:
    return fetch_new(engine, make, the_station(engine), now)


def stored(engine: Engine) -> list[tuple[float, datetime, float]]:
    """Return depth, instant and value of every reading."""
    query = (
        select(
            tables.probe_stretch.c.depth_cm,
            tables.reading.c.observed_at,
            tables.reading.c.soil_temp_c,
        )
        .join(tables.probe_stretch, tables.probe_stretch.c.probe_id == tables.reading.c.probe_id)
        .order_by(tables.probe_stretch.c.depth_cm, tables.reading.c.observed_at)
    )
    with reading(engine) as connection:
        return [tuple(row) for row in connection.execute(query)]


def batches(engine: Engine) -> list[tuple[str, int, int]]:
    columns = (tables.import_batch.c[name] for name in ("source", "inserted", "conflicting"))
    with reading(engine) as connection:
        rows = connection.execute(select(*columns).order_by(tables.import_batch.c.id))
        return [tuple(row) for row in rows]


ALL = [
    (depth_cm, FIRST + timedelta(hours=hour), HOURS[hour][place])
    for place, depth_cm in enumerate((5.0, 10.0))
    for hour in range(48)
]


@pytest.mark.both_by_day
def test_a_station_s_readings_come_in_at_the_depths_that_it_has(farm: Engine) -> None:
    report = fetch(farm)
    assert report.failure is None
    assert (report.readings.inserted, report.readings.missing) == (96, 144)
    assert stored(farm) == ALL
    assert batches(farm) == [("feed", 96, 0)]


def test_its_days_are_those_of_its_site(farm: Engine) -> None:
    fetch(farm)
    query = select(tables.daily_mean.c.day, tables.daily_mean.c.complete)
    of_5_cm = query.where(tables.daily_mean.c.probe_id == 4).order_by(tables.daily_mean.c.day)
    with reading(farm) as connection:
        rows = [tuple(row) for row in connection.execute(of_5_cm)]
    # by hand: 48 hours from 01:00 to midnight of UTC-08:00
    assert rows == [(date(2025, 3, 1), True), (date(2025, 3, 2), True)]


FAULTS = {
    "503": Reply(status=503),
    "429": Reply(status=429, headers={"Retry-After": "1"}),
    "429 for an hour": Reply(status=429, headers={"Retry-After": "3600"}),
    "hangs": Reply(b"late", hang_s=0.6),
    "drips": Reply(b"x" * 100, pause_s=0.02),
    "an error text": Reply(b"<html>down for maintenance</html>"),
    "empty": Reply(b""),
    "another header": Reply(b"WBANNO UTC_DATE SKY\n" + hourly_lines(FIRST, HOURS)[0].encode()),
    "too large": Reply(b"x" * 200_000),
    "a redirect into the private network": Reply(
        status=302, headers={"Location": "http://10.0.0.1/secret"}
    ),
    "not found": Reply(b"gone", 404),
    "forbidden": Reply(b"no", 403),
}


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_fetch_after_a_fault_gives_what_it_would_have_given(
    farm: Engine, server: HttpServer, fault: Reply
) -> None:
    good = server.answers
    server.say(fault)
    failed = fetch(farm)
    assert failed.failure is not None
    assert stored(farm) == []
    assert the_station(farm).failure == failed.failure
    assert the_station(farm).failing_since == NOW
    server.answers = good
    assert fetch(farm, NOW + timedelta(hours=1)).failure is None
    assert stored(farm) == ALL
    assert the_station(farm).failing_since is None


def test_a_truncated_file_is_taken_whole_the_next_time(farm: Engine, server: HttpServer) -> None:
    body = server.answers(Asked(PATTERN.format(year=2025), {})).body
    good = server.answers
    server.answers = lambda asked: (
        Reply(body, cut=len(body) // 2) if "2025" in asked.path else good(asked)
    )
    assert "tried 4 times" in (fetch(farm).failure or "")
    server.answers = good
    fetch(farm)
    assert stored(farm) == ALL


def test_a_file_cut_off_without_a_word_costs_what_is_cut_off_until_it_is_there(
    farm: Engine, server: HttpServer
) -> None:
    good = server.answers
    body = good(Asked(PATTERN.format(year=2025), {})).body
    half = body[: len(body) // 2 - 3]
    server.answers = lambda asked: Reply(half) if "2025" in asked.path else good(asked)
    report = fetch(farm)
    assert report.failure is None
    assert report.readings.rejected == 5
    assert stored(farm) == [one for one in ALL if one[1] < FIRST + timedelta(hours=23)]
    server.answers = good
    fetch(farm)
    assert stored(farm) == ALL


def test_a_fetch_goes_on_from_the_last_reading(farm: Engine, server: HttpServer) -> None:
    lines = hourly_lines(FIRST, HOURS)
    server.answers = files_of(lines[:30])
    fetch(farm)
    server.answers = files_of(lines)
    report = fetch(farm)
    assert report.span.since == FIRST + timedelta(hours=29) - fetches.OVERLAP
    assert report.readings.inserted == 36
    assert report.readings.identical == 60
    assert stored(farm) == ALL


def test_a_file_that_has_not_changed_is_not_fetched_again(farm: Engine, server: HttpServer) -> None:
    fetch(farm)
    server.asked.clear()
    report = fetch(farm)
    assert report.failure is None
    assert ["If-None-Match" in asked.headers for asked in server.asked] == [True]
    assert stored(farm) == ALL
    assert len(batches(farm)) == 1


@pytest.mark.both_by_day
def test_days_before_the_last_fetch_are_fetched_although_the_file_has_not_changed(
    farm: Engine, server: HttpServer
) -> None:
    more = hourly_lines(FIRST - timedelta(days=40), [[1, 2, 3, 4, 5]] * 24)
    server.answers = files_of([*more, *hourly_lines(FIRST, HOURS)])
    fetch(farm)
    before = stored(farm)
    begin = date(2025, 1, 20)
    report = fetch_days(farm, make, the_station(farm), begin, begin, NOW)
    # by hand: five depths of the hours that end 09:00 to 08:00 UTC, a day of UTC-08:00
    assert report.readings.inserted == 5 * 24
    assert len(stored(farm)) == len(before) + 120


@pytest.mark.both_by_day
def test_a_value_that_the_network_revises_is_kept_as_it_was_and_listed(
    farm: Engine, server: HttpServer
) -> None:
    fetch(farm)
    revised = [[0.7, *HOURS[0][1:]], *HOURS[1:]]
    server.answers = files_of(hourly_lines(FIRST, revised))
    report = fetch(farm)
    assert report.readings.conflicting == 1
    assert [(one.kept_c, one.other_c) for one in report.readings.conflicts] == [(0.0, 0.7)]
    assert stored(farm) == ALL


def test_a_day_s_mean_is_a_reading_of_the_whole_day(farm: Engine, server: HttpServer) -> None:
    url = f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\nfirst_day = 2025-02-01\n'
    daily = STATION_ELSEWHERE.replace("crn-hourly", "crn-daily")
    set_up(farm, farms.farm_text(north=True) + daily + url)
    hours = files_of(hourly_lines(FIRST, HOURS))
    days = files_of(
        daily_lines(FIRST, [[4, 5, 6, 7, 8], [5, 6, 7, 8, 9]]),
        "/daily01/{year}/CRND0103-{year}-XX_Low_Bench_3_N.txt",
    )
    server.answers = lambda asked: (hours if "hourly" in asked.path else days)(asked)
    assert fetch(farm).failure is None
    query = select(tables.daily_mean.c.day, tables.daily_mean.c.mean_c)
    complete = query.where(tables.daily_mean.c.complete).order_by(tables.daily_mean.c.mean_c)
    with reading(farm) as connection:
        rows = [tuple(row) for row in connection.execute(complete)]
    assert rows[0] == (date(2025, 3, 1), 4.0)
    assert rows[-1] == (date(2025, 3, 2), 9.0)
    assert len(rows) == 10


@pytest.mark.both_by_day
def test_what_is_due_is_fetched_once(farm: Engine) -> None:
    assert [one.failure for one in fetch_due(farm, make, NOW)] == [None]
    assert fetch_due(farm, make, NOW + timedelta(hours=5)) == []
    assert len(fetch_due(farm, make, NOW + timedelta(hours=6))) == 1


def test_days_that_are_asked_for_again_and_hold_nothing_new_are_no_batch(
    farm: Engine, server: HttpServer
) -> None:
    fetch(farm)
    good = server.answers
    server.answers = lambda asked: replace(good(Asked(asked.path, {})), headers={})
    report = fetch(farm)
    assert report.readings.identical == 96
    assert len(batches(farm)) == 1


def test_what_was_told_of_the_days_before_is_no_batch_again(
    farm: Engine, server: HttpServer
) -> None:
    fetch(farm)
    revised = [[0.7, *HOURS[0][1:]], *HOURS[1:]]
    lines = hourly_lines(FIRST, revised)
    lines[5] = lines[5].replace("0.5", "0..")
    server.answers = files_of(lines)
    reports = [fetch(farm, NOW + timedelta(hours=hour)) for hour in range(3)]
    assert [one.readings.conflicting for one in reports] == [1, 0, 0]  # the file has not changed
    lines.append(*hourly_lines(FIRST + timedelta(hours=48), [[-9999.0] * 5]))
    server.answers = files_of(lines)
    assert fetch(farm).readings.conflicting == 1
    assert len(batches(farm)) == 2


@pytest.mark.parametrize(
    ("change", "count"), [({3: "0.8"}, 3), ({5: "0..", 6: "0,6"}, 3), ({5: "0.."}, 2)]
)
def test_a_conflict_or_a_reject_that_is_new_is_a_batch(
    farm: Engine, server: HttpServer, change: dict[int, str], count: int
) -> None:
    fetch(farm)
    lines = hourly_lines(FIRST, HOURS)
    told = [line.replace("0.5", "0..") for line in lines]
    server.answers = files_of(told)
    fetch(farm)
    for place, cell in change.items():
        lines[place] = f"{lines[place][:204]}{cell:>7}{lines[place][211:]}"
    server.answers = files_of(lines)
    fetch(farm)
    assert len(batches(farm)) == count


@pytest.mark.both_by_day
def test_what_is_withdrawn_of_a_station_comes_in_again_where_its_network_still_says_it(
    farm: Engine,
) -> None:
    fetch(farm)
    with writing(farm) as connection:
        withdraw(connection, 1, "Ada Example", "asked for the wrong days", NOW)
    assert stored(farm) == []
    assert fetch(farm).readings.inserted == 96  # though the file and its validators are the same
    assert stored(farm) == ALL


def test_what_is_withdrawn_is_asked_for_again_however_long_ago_it_was(
    farm: Engine, server: HttpServer
) -> None:
    fetch(farm)
    fetch(farm)  # says the same again, of which no batch is kept
    late = hourly_lines(FIRST + timedelta(days=60), HOURS)
    server.answers = files_of([*hourly_lines(FIRST, HOURS), *late])
    fetch(farm, NOW + timedelta(days=60))
    both = stored(farm)
    with writing(farm) as connection:
        withdraw(connection, 2, "Ada Example", "of another station", NOW)
        withdraw(connection, 1, "Ada Example", "of another station", NOW)
    server.say(Reply(status=503))
    fetch(farm, NOW + timedelta(days=60))
    server.answers = files_of([*hourly_lines(FIRST, HOURS), *late])
    assert fetch(farm, NOW + timedelta(days=60)).readings.inserted == 192
    assert stored(farm) == both
    # by hand: the last reading is of day 62, 14 days are asked for anyway
    assert fetch(farm, NOW + timedelta(days=60)).span.since > FIRST + timedelta(days=45)


LATER = NOW + timedelta(days=60)

Act = Callable[[Engine, HttpServer], None]


@pytest.fixture
def later(farm: Engine, server: HttpServer) -> Engine:
    """A store with the station's readings of two spans, so far apart that it asks for the last."""
    fetch(farm)
    late = hourly_lines(FIRST + timedelta(days=60), HOURS)
    server.answers = files_of([*hourly_lines(FIRST, HOURS), *late])
    fetch(farm, LATER)
    return farm


def withdraw_first(farm: Engine, _: HttpServer) -> None:
    with writing(farm) as connection:
        withdraw(connection, 1, "Ada Example", "of another station", NOW)


def edit(farm: Engine, server: HttpServer) -> None:
    url = f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\nfirst_day = 2025-02-02\n'
    set_up(farm, farms.farm_text(north=True) + STATION_ELSEWHERE + url)


@pytest.mark.both_by_day
@pytest.mark.parametrize("status", [200, 503])
@pytest.mark.parametrize("act", [withdraw_first, edit])
def test_what_is_to_be_asked_again_is_though_a_fetch_goes_on_meanwhile(
    later: Engine, server: HttpServer, act: Act, status: int
) -> None:
    both, says = stored(later), server.answers

    def act_meanwhile(asked: Asked) -> Reply:
        server.answers = says
        act(later, server)
        return says(asked) if status == 200 else Reply(status=status)

    server.answers = act_meanwhile
    assert fetch(later, LATER).span.since > FIRST
    (report,) = fetch_due(later, make, LATER)
    assert report.span.since <= FIRST
    assert stored(later) == both


@pytest.mark.parametrize("act", [withdraw_first, edit])
def test_a_fetch_goes_by_what_holds_when_it_begins(
    later: Engine, server: HttpServer, act: Act
) -> None:
    seen = the_station(later)
    act(later, server)
    assert fetch_new(later, make, seen, LATER).span.since <= FIRST


def test_what_a_broken_fetch_has_left_out_is_asked_for_although_newer_is_there(
    farm: Engine,
) -> None:
    fetch(farm, FIRST + timedelta(days=1))
    fetch_days(farm, make, the_station(farm), date(2025, 3, 2), None, NOW)
    assert fetch(farm).span.since == FIRST + timedelta(days=1) - fetches.OVERLAP


@pytest.mark.both_by_day
def test_a_station_is_claimed_by_one_of_two_processes(farm: Engine) -> None:
    seen = the_station(farm)
    with writing(farm) as connection:
        claims = [claim_attempt(connection, seen, NOW) for _ in range(2)]
    assert claims == [True, False]


def test_a_station_that_fails_stops_no_other(farm: Engine, server: HttpServer) -> None:
    url = f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\nfirst_day = 2025-02-01\n'
    other = STATION_ELSEWHERE.partition("[[station]]")[2].replace("b1", "a0")
    other = f"[[station]]{other}".replace("XX_Low_Bench_3_N", "XX_Gone_1_S")
    set_up(farm, farms.farm_text(north=True) + STATION_ELSEWHERE + url + other + url)
    reports = fetch_due(farm, make, NOW)
    assert [(one.station_id, one.failure is None) for one in reports] == [
        ("a0", False),
        ("b1", True),
    ]


def test_what_no_reader_foresaw_is_a_failure_of_its_station(
    farm: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> Iterator[Any]:
        raise ZeroDivisionError("seven")

    monkeypatch.setattr(fetches, "FEEDS", {"crn-hourly": broken})
    assert fetch(farm).failure == "ZeroDivisionError: seven"
    assert the_station(farm).failure == "ZeroDivisionError: seven"


def test_a_station_that_was_edited_is_fetched_from_the_beginning(
    farm: Engine, server: HttpServer
) -> None:
    fetch(farm)
    url = f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\nfirst_day = 2025-01-01\n'
    set_up(farm, farms.farm_text(north=True) + STATION_ELSEWHERE + url)
    report = fetch(farm)
    assert report.span.since == datetime(2025, 1, 1, tzinfo=UTC)
    assert stored(farm) == ALL
