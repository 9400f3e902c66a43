"""/health and /metrics, asked over HTTP and read by the OpenMetrics parser of another project."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
import requests
from fastapi import FastAPI
from fastapi.testclient import TestClient
from prometheus_client.openmetrics.exposition import generate_latest
from prometheus_client.openmetrics.parser import text_string_to_metric_families
from sqlalchemy import Engine, create_engine

from service.one_round import holding_round
from service.settings import Settings
from service.store.channel_troubles import ChannelTrouble, keep_trouble
from service.store.engine import open_engine, reading, writing
from service.store.outbox import add_digest, add_message, end_message
from service.store.rounds import begin_round, finish_round
from service.store.schema import upgrade
from service.store.stations import begin_attempt, fetch_stations, note_failure
from service.store.tokens import add_metrics_token, add_token, fetch_tokens, revoke_token
from service.watching.figures import find_figures
from service.web.health import health_routes
from service.web.refusals import add_refusals
from tests.farms import STATION, farm_text
from tests.farms import set_up as set_up_farm
from tests.imported import import_log, set_up, write_log
from tests.serving import serving_here
from tests.signed_in import plant_token

NOW = datetime.now(UTC)
HOUR = timedelta(hours=1)
Figures = dict[tuple[str, tuple[str, ...]], float]


@dataclass(frozen=True)
class Place:
    """A running application over a file, and who may read its figures."""

    engine: Engine
    here: str
    headers: dict[str, str]

    def get(self, path: str, **headers: str) -> requests.Response:
        return requests.get(f"{self.here}{path}", headers=headers, timeout=10)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("metrics")
    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(engine)
    set_up(engine)
    with writing(engine) as connection:
        headers = {"Authorization": f"Bearer {add_metrics_token(connection, NOW, 'watcher')}"}
    with serving_here(engine, Settings(data=folder)) as here:
        yield Place(engine, here, headers)
    engine.dispose()


def parse(text: str) -> Figures:
    """Return what is told, by name and the values of labels."""
    return {
        (sample.name, tuple(sample.labels[key] for key in sorted(sample.labels))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def read(engine: Engine, data: Path) -> Figures:
    with reading(engine) as connection:
        figures = list(find_figures(connection, Settings(data=data), datetime.now(UTC)))
    return parse(generate_latest(SimpleNamespace(collect=lambda: figures)).decode())


def finish_a_round(engine: Engine, began: datetime, took_s: float = 4) -> None:
    with writing(engine) as connection:
        number = begin_round(connection, None, began)
        finish_round(connection, number, began + timedelta(seconds=took_s), 1, 0, 0)


def test_what_came_in_is_counted_by_its_fate_and_stays_so(engine: Engine, tmp_path: Path) -> None:
    set_up(engine)
    import_log(engine, write_log(tmp_path / "a.csv", {0: (1.0, 2.0), 1: (1.5, None)}))
    import_log(engine, write_log(tmp_path / "b.csv", {0: (1.0, 9.0), 2: (3.0, 4.0)}))
    found = read(engine, tmp_path)
    assert found["digseason_deliveries_total", ("file",)] == 2
    outcomes = ("inserted", "identical", "conflicting", "missing", "rejected")
    of = [found["digseason_readings_total", (outcome, "file")] for outcome in outcomes]
    assert of == [5, 1, 1, 1, 0]  # by hand
    assert found["digseason_loggers", ()] == 1


def test_rounds_outbox_feeds_channels_and_who_holds_the_lease_are_told(
    engine: Engine, tmp_path: Path
) -> None:
    set_up_farm(engine, farm_text(north=True, more=STATION))
    finish_a_round(engine, NOW - HOUR, took_s=4)
    with writing(engine) as connection:
        for number in (1, 2, 3):
            digest = add_digest(connection, "Ada Example", NOW)
            made = (f"<{number}@example.org>", "text", NOW - number * HOUR)
            add_message(connection, digest, "mail", "ada@example.org", *made)
        end_message(connection, 3, "refused", "550 no such user", NOW)
        (station,) = fetch_stations(connection)
        note_failure(connection, begin_attempt(connection, station.id, NOW), "answered 503")
        keep_trouble(connection, ChannelTrouble("sms", NOW, 1, NOW, "refuses the login"))
    with holding_round(engine) as lease:
        found = read(engine, tmp_path)
        assert found["digseason_lease_age_seconds", (lease.host, "round", str(lease.process))] >= 0
    began = found["digseason_round_last_started_timestamp_seconds", ()]
    assert began == pytest.approx((NOW - HOUR).timestamp(), abs=1)  # [s], kept to the second
    assert found["digseason_round_last_duration_seconds", ()] == pytest.approx(4, abs=1)
    assert found["digseason_rounds_total", ()] == 1
    assert found["digseason_outbox_waiting", ()] == 2
    age_s = (datetime.now(UTC) - NOW + 2 * HOUR).total_seconds()
    assert found["digseason_outbox_oldest_age_seconds", ()] == pytest.approx(age_s, abs=60)
    assert found["digseason_outbox_ended", ("refused",)] == 1
    assert found["digseason_feed_failing", ("b1",)] == 1
    assert found["digseason_channel_failing", ("sms",)] == 1
    assert found["digseason_channel_failing", ("mail",)] == 0
    assert found["digseason_store_size_bytes", ()] > 100_000
    assert found["digseason_disk_free_bytes", ()] > 0


def test_requests_are_counted_by_the_form_of_their_address(place: Place) -> None:
    asked = ("/hand/{secret}", "404"), ("other", "404"), ("/static", "200")

    def count() -> list[float]:
        found = parse(place.get("/metrics", **place.headers).text)
        return [found.get(("digseason_http_requests_total", ("GET", *one)), 0) for one in asked]

    before = count()
    for path in ("hand/SECRET-1", "hand/SECRET-2", "nowhere/SECRET-3", "static/mark.svg"):
        place.get(f"/{path}")
    assert [new - old for new, old in zip(count(), before, strict=True)] == [2, 1, 1]
    text = place.get("/metrics", **place.headers).text
    assert "SECRET" not in text
    assert 'digseason_http_request_duration_seconds_bucket{le="0.1",' in text


def test_names_and_units_are_those_of_the_standard(place: Place) -> None:
    answer = place.get("/metrics", **place.headers)
    # source: [OPENMETRICS] the media type; a name ends in its unit
    assert answer.headers["Content-Type"].startswith("application/openmetrics-text; version=1.0.0")
    families = list(text_string_to_metric_families(answer.text))  # the parser refuses what is not
    wrong = [one.name for one in families if one.unit and not one.name.endswith(f"_{one.unit}")]
    assert (wrong, answer.text.endswith("# EOF\n")) == ([], True)
    assert {one.unit for one in families} == {"", "seconds", "bytes"}


@pytest.mark.parametrize(
    ("of", "status"),
    [("nobody", 401), ("a logger", 403), ("an account", 403), ("one that was revoked", 401)],
)
def test_only_a_token_for_it_reads_them(place: Place, of: str, status: int) -> None:
    given: dict[str, str] = {}
    with writing(place.engine) as connection:
        if of == "a logger":
            given = {"Authorization": f"Bearer {add_token(connection, 'u1', NOW)}"}
        elif of == "one that was revoked":
            given = {"Authorization": f"Bearer {add_metrics_token(connection, NOW, '')}"}
            revoke_token(connection, fetch_tokens(connection)[-1].id, NOW)
    if of == "an account":
        given = plant_token(place.engine)
    answer = place.get("/metrics", **given)
    assert answer.status_code == status
    assert "digseason_" not in answer.text


def test_a_token_for_metrics_opens_nothing_else(place: Place) -> None:
    asked = {"/api/blocks": "get", "/api/readings": "post", "/api/hand-readings": "post"}
    answers = {
        path: requests.request(method, f"{place.here}{path}", headers=place.headers, timeout=10)
        for path, method in asked.items()
    }
    said = {path: answer.status_code for path, answer in answers.items()}
    assert said == {"/api/blocks": 403, "/api/readings": 401, "/api/hand-readings": 401}


def test_health_says_by_its_status_whether_rounds_are_in_time(place: Place) -> None:
    def ask() -> list[int]:
        paths = ("/health", "/health/rounds")
        return [requests.head(f"{place.here}{path}", timeout=10).status_code for path in paths]

    assert ask() == [200, 503]
    finish_a_round(place.engine, NOW - 27 * HOUR)
    assert ask() == [200, 503]
    late = place.get("/health/rounds").json()["detail"]
    assert late == f"the last round was at {NOW - 27 * HOUR:%Y-%m-%d %H:%M} UTC"
    finish_a_round(place.engine, NOW - 25 * HOUR)
    assert ask() == [200, 200]


def test_health_without_a_store_is_unwell_and_names_nothing_of_it(tmp_path: Path) -> None:
    app = FastAPI()
    add_refusals(app)
    app.include_router(health_routes(create_engine(f"sqlite:///{tmp_path / 'gone' / 'x.db'}")))
    answer = TestClient(app).get("/health")
    assert (answer.status_code, answer.json()["detail"]) == (503, "the store does not answer")
    assert str(tmp_path) not in answer.text
