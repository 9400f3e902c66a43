"""A real OGC SensorThings server for the tests, run by the Python of .venv-peers.

    .venv-peers/bin/python tests/peers/sensorthings_site.py FOLDER

It keeps an SQLite file in FOLDER, listens on a free port of this machine, says the address of
its service on one line, and serves until it is ended.
"""

from __future__ import annotations

import sys
from pathlib import Path
from uuid import UUID
from wsgiref.simple_server import make_server

import django
from django.conf import settings
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.urls import include, path

APP = "sensorthings.versions.v1_1"


def main() -> None:
    """Make the tables, say the address, serve."""
    server = make_server("127.0.0.1", 0, None)
    address = f"http://127.0.0.1:{server.server_port}/sensorthings"
    database = Path(sys.argv[1], "sensorthings.sqlite3")
    settings.configure(
        ALLOWED_HOSTS=["127.0.0.1"],
        DATABASES={
            "default": {
                "ENGINE": "django.db.backends.sqlite3",
                "NAME": database,
                "CONN_MAX_AGE": None,
                "OPTIONS": {
                    "init_command": "pragma synchronous = off"
                },  # nothing outlives the tests
            }
        },
        INSTALLED_APPS=[APP, f"{APP}.backends.django"],
        USE_TZ=True,
        SENSORTHINGS_V1_1_SERVICE_URL=address,
        SENSORTHINGS_V1_1_BACKEND_ADAPTER=f"{APP}.backends.django.adapter.DjangoBackendAdapter",
        SENSORTHINGS_V1_1_ID_TYPE=UUID,
        SENSORTHINGS_V1_1_ID_DELIMITER="'",
    )
    django.setup()
    settings.ROOT_URLCONF = (path("sensorthings/", include(f"{APP}.urls")),)  # needs all above
    call_command("migrate", verbosity=0)
    server.set_app(get_wsgi_application())
    print(f"{address}/v1.1", flush=True)  # noqa: T201 (whoever started it reads this)
    server.serve_forever()


if __name__ == "__main__":
    main()
