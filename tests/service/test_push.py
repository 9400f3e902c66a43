"""POST /api/readings: by a real client, on both databases."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import requests
from sqlalchemy import Engine, func, select

from service.intake.undoing import withdraw
from service.settings import Settings
from service.store import tables
from service.store.engine import reading, writing
from service.store.tokens import add_token, fetch_tokens, revoke_token
from service.web.bearer import RateLimit
from tests.imported import kept, set_up
from tests.processes import serving
from tests.serving import serving_here

pytestmark = pytest.mark.sqlite_by_day

NOW = datetime.now(UTC)
GOOD = {"observed_at": "2025-10-02T07:30:00+10:00", "depth_cm": 30, "soil_temp_c": 16.4}
MAX_BYTES = 20_000


@pytest.fixture
def token(engine: Engine) -> str:
    """The token of the one logger."""
    set_up(engine)
    with writing(engine) as connection:
        return add_token(connection, "u1", NOW)


@pytest.fixture
def served(engine: Engine, token: str, tmp_path: Path) -> Iterator[str]:  # noqa: ARG001 (set up)
    settings = Settings(data=tmp_path, push_max_bytes=MAX_BYTES, push_per_min=40)
    with serving_here(engine, settings) as address:
        yield f"{address}/api/readings"


def push(url: str, token: str, **how: Any) -> requests.Response:
    headers = {"Authorization": f"Bearer {token}", **how.pop("headers", {})}
    return requests.post(url, headers=headers, timeout=30, **how)


def push_json(url: str, token: str, *readings: Any) -> requests.Response:
    return push(url, token, json={"readings": list(readings)})


def push_csv(url: str, token: str, *lines: str) -> requests.Response:
    body = "\n".join(["observed_at,depth_cm,soil_temp_c", *lines])
    return push(url, token, data=body, headers={"Content-Type": "text/csv; charset=utf-8"})


def five(answer: requests.Response) -> tuple[int, ...]:
    content = answer.json()
    return tuple(
        content[count] for count in ("inserted", "identical", "conflicting", "rejected", "missing")
    )


def stored(engine: Engine) -> list[tuple[datetime, float]]:
    with reading(engine) as connection:
        query = select(tables.reading.c.observed_at, tables.reading.c.soil_temp_c)
        return [tuple(row) for row in connection.execute(query.order_by(*query.selected_columns))]


def count_batches(engine: Engine) -> int:
    with reading(engine) as connection:
        return connection.scalar(select(func.count()).select_from(tables.import_batch)) or 0


@pytest.mark.both_by_day
def test_readings_of_a_push_are_kept_in_utc_and_celsius(
    engine: Engine, served: str, token: str
) -> None:
    by_channel = {"observed_at": "2025-10-02T08:30:00+10:00", "channel": "T30", "soil_temp_f": 64.4}
    answer = push_json(served, token, GOOD, by_channel)
    assert (answer.status_code, five(answer)) == (200, (2, 0, 0, 0, 0))
    # by hand: 07:30 at UTC+10:00; (64.4 - 32) / 1.8 = 18
    (first, second) = stored(engine)
    assert first == (datetime(2025, 10, 1, 21, 30, tzinfo=UTC), 16.4)
    assert second == (datetime(2025, 10, 1, 22, 30, tzinfo=UTC), pytest.approx(18.0, abs=1e-9))
    assert len(kept(engine)["daily_mean"]) == 1


@pytest.mark.both_by_day
def test_the_same_body_again_gets_the_first_report(engine: Engine, served: str, token: str) -> None:
    late = {**GOOD, "depth_cm": 31}
    first, again = push_json(served, token, GOOD, late), push_json(served, token, GOOD, late)
    assert first.json() == again.json()
    assert (first.status_code, again.status_code) == (207, 207)
    assert count_batches(engine) == 1


def test_what_a_clock_stamps_that_was_reset_is_rejected_and_shows(
    engine: Engine, served: str, token: str
) -> None:
    answer = push_json(served, token, {**GOOD, "observed_at": "2000-01-01T00:10:00Z"})
    assert five(answer) == (0, 0, 0, 1, 0)
    assert "lies more than ten years before it was pushed" in answer.json()["rejects"][0]["reason"]
    assert "2000-01-01 00:10 UTC, lies where a clock begins" in answer.json()["signs"][0]
    assert stored(engine) == []


def test_what_a_dead_network_held_back_for_years_is_taken(served: str, token: str) -> None:
    long_ago = NOW - timedelta(days=900)
    answer = push_json(served, token, {**GOOD, "observed_at": f"{long_ago:%Y-%m-%dT%H:%M:%SZ}"})
    assert five(answer) == (1, 0, 0, 0, 0)
    assert answer.json()["signs"] == []


@pytest.mark.both_by_day
def test_a_body_that_was_withdrawn_is_refused_when_it_is_sent_again(
    engine: Engine, served: str, token: str
) -> None:
    push_json(served, token, GOOD)
    with writing(engine) as connection:
        withdraw(connection, 1, "Ada Example", "its clock was reset", NOW)
    answer = push_json(served, token, GOOD)
    assert answer.status_code == 409
    assert "its clock was reset" in answer.json()["detail"]
    assert stored(engine) == []


def test_the_same_readings_in_another_body_are_identical(
    engine: Engine, served: str, token: str
) -> None:
    push_json(served, token, GOOD)
    answer = push_csv(served, token, "2025-10-01T21:30:00Z,30,16.4")
    assert five(answer) == (0, 1, 0, 0, 0)
    assert len(stored(engine)) == 1


@pytest.mark.both_by_day
def test_another_value_for_an_instant_is_a_conflict_and_the_first_is_kept(
    engine: Engine, served: str, token: str
) -> None:
    push_json(served, token, GOOD)
    assert five(push_json(served, token, {**GOOD, "soil_temp_c": 17.0})) == (0, 0, 1, 0, 0)
    assert [value_c for _, value_c in stored(engine)] == [16.4]


@pytest.mark.both_by_day
def test_the_same_body_sent_many_times_at_once_is_taken_once(
    engine: Engine, served: str, token: str
) -> None:
    with ThreadPoolExecutor(8) as clients:
        answers = list(clients.map(lambda _: push_json(served, token, GOOD), range(16)))
    assert {(answer.status_code, five(answer)) for answer in answers} == {(200, (1, 0, 0, 0, 0))}
    assert (count_batches(engine), len(stored(engine))) == (1, 1)


def test_each_reading_that_is_wrong_is_rejected_by_its_index(
    engine: Engine, served: str, token: str
) -> None:
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    answer = push_json(
        served,
        token,
        GOOD,
        {**GOOD, "depth_cm": 31},
        {**GOOD, "observed_at": "2025-10-02 07:30"},
        {"observed_at": GOOD["observed_at"], "channel": "T9", "soil_temp_c": 16.4},
        {**GOOD, "observed_at": tomorrow},
        {**GOOD, "depth_cm": 15, "soil_temp_c": None},
        {**GOOD, "soil_temp_c": 1e7},
        {**GOOD, "soil_temp_c": "16.4"},
        {"depth_cm": 30, "soil_temp_c": 16.4},
        16.4,
    )
    rejects = {reject["index"]: reject["reason"] for reject in answer.json()["rejects"]}
    assert answer.status_code == 207
    assert five(answer) == (1, 0, 0, 8, 1)
    assert sorted(rejects) == [1, 2, 3, 4, 6, 7, 8, 9]
    assert rejects[1] == "u1 on 2025-10-01 has no probe at 31 cm; there are: 15, 30"
    assert "is no time with its offset" in rejects[2]
    assert "no channel 'T9'; there are: T15, T30" in rejects[3]
    assert "lies in the future" in rejects[4]
    assert rejects[7] == 'soil_temp_c = "16.4" is no number'
    assert rejects[8] == "observed_at is missing"
    assert rejects[9].startswith("is no object; send observed_at, depth_cm")
    assert len(stored(engine)) == 1


def test_rows_of_csv_that_are_wrong_are_rejected_by_their_index(
    engine: Engine, served: str, token: str
) -> None:
    answer = push_csv(
        served,
        token,
        "2025-10-01T21:30:00Z,30,16.4",
        "2025-10-01T22:30:00Z,30,1_6",
        "2025-10-01T23:30:00Z,30",
        "2025-10-02T00:30:00Z,30,",
        "2025-10-02T01:30:00Z,x,16",
    )
    assert (answer.status_code, five(answer)) == (207, (1, 0, 0, 3, 1))
    assert [reject["index"] for reject in answer.json()["rejects"]] == [1, 2, 4]
    assert len(stored(engine)) == 1


def test_a_body_that_is_no_push_is_refused_as_a_whole(
    engine: Engine, served: str, token: str
) -> None:
    answer = push(served, token, data=b"{", headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["errors"][0].startswith("body: no JSON: Expecting property name")
    assert (stored(engine), count_batches(engine)) == ([], 0)


@pytest.mark.parametrize(
    "body", [b"", b"\xff", b"time,T30\n", b"observed_at,depth_cm,soil_temp_c\n"]
)
def test_a_csv_that_is_no_push_is_refused(served: str, token: str, body: bytes) -> None:
    answer = push(served, token, data=body, headers={"Content-Type": "text/csv"})
    assert answer.status_code == 422


def test_a_clock_that_lost_its_time_brings_nothing_in(
    engine: Engine, served: str, token: str
) -> None:
    answer = push_json(served, token, {**GOOD, "observed_at": "1970-01-01T00:10:00Z"})
    assert five(answer) == (0, 0, 0, 1, 0)
    assert "a clock that lost its time" in answer.json()["rejects"][0]["reason"]
    assert stored(engine) == []


def test_blank_lines_of_csv_are_none_and_only_line_ends_end_a_line(
    engine: Engine, served: str, token: str
) -> None:
    lines = ["2025-10-01T21:30:00Z,30,16.4", "", "2025-10-01T22:30:00Z,30,1\v2,30,3", ""]
    answer = push_csv(served, token, *lines)
    assert five(answer) == (1, 0, 0, 1, 0)
    assert answer.json()["rejects"][0]["index"] == 1
    assert len(stored(engine)) == 1


@pytest.mark.both_by_day
def test_every_wrong_token_gets_the_same_answer(engine: Engine, served: str, token: str) -> None:
    with writing(engine) as connection:
        old = add_token(connection, "u1", NOW)
        revoke_token(connection, fetch_tokens(connection)[-1].id, NOW)
    wrong = [f"Bearer {old}", f"Bearer {token}x", f"Basic {token}", "Bearer", ""]
    answers = [
        requests.post(served, json={"readings": [GOOD]}, headers={"Authorization": one}, timeout=30)
        for one in wrong
    ]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.text for answer in answers}) == 1
    assert answers[0].headers["WWW-Authenticate"] == "Bearer"
    assert stored(engine) == []


@pytest.mark.parametrize(
    "headers",
    [
        {"Content-Type": "text/plain"},
        {"Content-Type": ""},
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
    ],
)
def test_another_kind_of_body_is_refused(served: str, token: str, headers: dict[str, str]) -> None:
    assert push(served, token, data=b"{}", headers=headers).status_code == 415


def test_a_body_that_never_says_its_length_is_cut_off_at_the_limit(served: str, token: str) -> None:
    host, _, port = served.split("/")[2].partition(":")
    sent = 0
    with socket.create_connection((host, int(port)), timeout=30) as client:
        head = [
            "POST /api/readings HTTP/1.1",
            "Host: x",
            f"Authorization: Bearer {token}",
            "Content-Type: application/json",
            "Transfer-Encoding: chunked",
        ]
        client.sendall("\r\n".join([*head, "", ""]).encode())
        while sent <= MAX_BYTES:
            client.sendall(b"3e8\r\n" + b" " * 1000 + b"\r\n")
            sent += 1000
        answer = client.recv(1000)  # though the body has not ended
    assert answer.split()[1] == b"413"


def test_a_token_that_comes_too_often_is_told_when_to_come_again(served: str, token: str) -> None:
    answers = [push_json(served, token, GOOD) for _ in range(45)]
    statuses = [answer.status_code for answer in answers]
    assert statuses[:40] == [200] * 40
    assert 429 in statuses[40:]
    late = next(answer for answer in answers if answer.status_code == 429)
    assert 1 <= int(late.headers["Retry-After"]) <= 2  # by hand: 40 a minute is one in 1.5 s


def test_a_rate_limit_lets_a_burst_through_and_then_one_at_a_time() -> None:
    clock = [0.0]
    limit = RateLimit(60, lambda: clock[0])
    burst = [limit.wait_s(1) for _ in range(61)]
    clock[0] = 1.0
    assert burst == [0.0] * 60 + [1.0]
    assert [limit.wait_s(1), limit.wait_s(1), limit.wait_s(2)] == [0.0, 1.0, 0.0]


def test_a_push_reaches_a_process_of_its_own(
    engine: Engine, token: str, store_url: str, tmp_path: Path
) -> None:
    with serving(tmp_path, store_url) as address:
        answer = push_json(f"{address}/api/readings", token, GOOD)
    assert (answer.status_code, five(answer)) == (200, (1, 0, 0, 0, 0))
    assert len(stored(engine)) == 1
