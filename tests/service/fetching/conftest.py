"""A server on this machine that answers as a test says, and fetchers that may ask it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from service.fetching.http import Fetcher
from tests.http_server import HttpServer, http_server
from tests.sensorthings_server import SensorThingsServer, sensorthings_server


@pytest.fixture
def server() -> Iterator[HttpServer]:
    with http_server() as running:
        yield running


@pytest.fixture
def waits() -> list[float]:
    """How long the fetcher would have slept."""
    return []


@pytest.fixture
def make(waits: list[float]) -> Callable[..., Fetcher]:
    """Make a fetcher that sleeps on paper only."""

    def fetcher(**fields: Any) -> Fetcher:
        return Fetcher(
            **{
                "allow_hosts": ["127.0.0.1", "localhost"],
                "between_requests_s": 0,
                "sleep": waits.append,
            }
            | fields
        )

    return fetcher


@pytest.fixture(scope="session")
def things(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SensorThingsServer]:
    """A real SensorThings server; fails with what to do where there is none."""
    with sensorthings_server(tmp_path_factory.mktemp("things")) as running:
        yield running
