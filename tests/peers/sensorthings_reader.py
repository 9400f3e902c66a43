"""What another client reads from a SensorThings server, run by the Python of .venv-peers.

    .venv-peers/bin/python tests/peers/sensorthings_reader.py ADDRESS DATASTREAM

It prints one JSON list of [id, phenomenonTime, result].
"""

from __future__ import annotations

import json
import sys

from frost_sta_client import SensorThingsService


def main() -> None:
    """Read all observations of one datastream, page after page."""
    address, datastream = sys.argv[1:]
    stream = SensorThingsService(address).datastreams().find(datastream)
    observations = stream.get_observations().query().list()
    rows = [[o.id, o.phenomenon_time, o.result] for o in observations]
    print(json.dumps(rows))  # noqa: T201 (whoever started it reads this)


if __name__ == "__main__":
    main()
