"""A real OGC SensorThings server on this machine, and what another client reads from it.

Both run in .venv-peers, which `sh deploy/test` makes: nothing of theirs meets what is ours.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import requests

from tests.running_peers import PEERS, need_python, running_peer

TIMEOUT_S = 60

CELSIUS = {
    "name": "degree Celsius",
    "symbol": "degC",
    "definition": "http://www.qudt.org/qudt/owl/1.0.0/unit/Instances.html#DegreeCelsius",
}
FAHRENHEIT = {"name": "degree Fahrenheit", "symbol": "degF", "definition": "urn:none"}


@dataclass(frozen=True)
class SensorThingsServer:
    """A running server; `address` is the root of its service."""

    address: str

    def add_datastream(self, unit: dict[str, str] = CELSIUS) -> str:
        """Make a Thing with a place and a datastream; return the datastream's id."""
        place = {"type": "Point", "coordinates": [-121.6467, 38.1159]}
        thing = {
            "name": "Station",
            "description": "a station of the tests",
            "Locations": [
                {
                    "name": "Place",
                    "description": "where it stands",
                    "encodingType": "application/geo+json",
                    "location": place,
                }
            ],
            "Datastreams": [
                {
                    "name": "Soil temperature 10 cm",
                    "description": "at 10 cm",
                    "unitOfMeasurement": unit,
                    "observationType": "http://www.opengis.net/def/observationType/OGC-OM/2.0/"
                    "OM_Measurement",
                    "Sensor": {
                        "name": "Probe",
                        "description": "a probe",
                        "encodingType": "text/html",
                        "metadata": "none",
                    },
                    "ObservedProperty": {
                        "name": "Soil temperature",
                        "definition": "urn:none",
                        "description": "of the soil",
                    },
                }
            ],
        }
        made = self._post("Things", thing).headers["Location"]
        found = requests.get(f"{made}/Datastreams", timeout=TIMEOUT_S).json()["value"]
        return found[0]["@iot.id"]

    def add_observations(self, datastream: str, rows: Iterable[tuple[datetime, float]]) -> None:
        """Add observations in the order given."""
        for observed_at, result in rows:
            observation = {
                "phenomenonTime": observed_at.isoformat(),
                "resultTime": observed_at.isoformat(),
                "result": result,
                "Datastream": {"@iot.id": datastream},
            }
            self._post("Observations", observation)

    def _post(self, where: str, what: dict[str, Any]) -> requests.Response:
        answer = requests.post(f"{self.address}/{where}", json=what, timeout=TIMEOUT_S)
        answer.raise_for_status()
        return answer


@contextlib.contextmanager
def sensorthings_server(folder: Path) -> Iterator[SensorThingsServer]:
    """Give a running server that keeps its database in `folder`; it ends with the block."""
    with running_peer("sensorthings_site.py", folder) as address:
        yield SensorThingsServer(address)


def read_by_other_client(address: str, datastream: str) -> list[tuple[str, datetime, float]]:
    """Return id, time and result of all observations, as another open client reads them."""
    output = subprocess.run(  # noqa: S603 (our own arguments)
        [need_python(), PEERS / "sensorthings_reader.py", address, datastream],
        check=True,
        stdout=subprocess.PIPE,
        text=True,
        timeout=TIMEOUT_S,
    ).stdout
    return [(id_, datetime.fromisoformat(time), result) for id_, time, result in json.loads(output)]
