"""A cooperative of two growers with two years of soil: what the pages in a browser show."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlalchemy import Engine, select

from service.links import Links
from service.rounds import run_round
from service.settings import Settings
from service.store.accounts import Role, set_places
from service.store.consents import fetch_consents
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from service.store.sharing import share
from service.store.tables import notice, probe
from service.store.tokens import add_token
from tests.farms import THERMOMETER, farm_text, set_up
from tests.planted import plant_days
from tests.signed_in import plant_account

BENS = """
[[site]]
id = "bench"
name = "Low Bench"
timezone = "America/Los_Angeles"
latitude = 45.2345
longitude = -123.3456
elevation_m = 260
district = "alder"

[[block]]
id = "ledge"
site = "bench"
name = "Ledge"

[[logger]]
id = "b1"
site = "bench"
layout = "plain"
"""
ACCOUNTS: tuple[tuple[str, Role, list[str]], ...] = (
    ("ada@example.org", "grower", ["upper"]),
    ("ben@example.org", "grower", ["bench"]),
    ("cora@example.org", "coordinator", []),
    ("rhea@example.org", "researcher", []),
)
LEVEL_F = {"u1": 58.0, "b1": 56.5}
YEARLY_F = 18.0
OPENED_BY = (5, 25)
"""Month and day by which each block has opened in a spring, and its people have been told."""


@dataclass(frozen=True)
class Cooperative:
    """Ada's site "upper" with "Terrace 7", Ben's "bench" with "Ledge", shared without its place; an
    account of each role but an administrator.

    hand, told, dug : the paths of pages that only their readers know
    here : where it is served
    """

    data: Path
    engine: Engine
    hand: str
    told: str
    dug: str
    here: str = ""

    def at(self, here: str) -> Cooperative:
        """Return it as it is served."""
        return replace(self, here=here)


def plant_cooperative(data: Path, url: str = "") -> Cooperative:
    """Put it into a store, whose round has told Ada of her last spring."""
    settings = Settings(data=data, database_url=url)
    engine = open_engine(settings.store_url)
    upgrade(engine)
    set_up(engine, farm_text(north=True, unit="F", more=BENS + THERMOMETER))
    yesterday = datetime.now(UTC).date() - timedelta(days=2)
    first = date(yesterday.year - 2, 1, 1)
    days = [first + timedelta(days=number) for number in range((yesterday - first).days + 1)]
    with writing(engine) as connection:
        for probe_id, logger_id in connection.execute(select(probe.c.id, probe.c.logger_id)).all():
            if logger_id in LEVEL_F:
                temps_f = [LEVEL_F[logger_id] + _find_wave_f(day) for day in days]
                plant_days(connection, first, temps_f, probe_id)
        share(connection, "bench", False, "ben@example.org", datetime.now(UTC))
        hand = add_token(connection, "h1", datetime.now(UTC))
    for email, role, site_ids in ACCOUNTS:
        account = plant_account(engine, email, role)
        with writing(engine) as connection:
            set_places(connection, account.id, site_ids, [])
    told_at = datetime(yesterday.year - 1, *OPENED_BY, 18, tzinfo=UTC)
    run_round(engine, settings, told_at, told_at.date())
    links = Links(settings)
    with reading(engine) as connection:
        (consent,) = fetch_consents(connection).values()
        number = connection.scalars(select(notice.c.id)).first()
    assert number is not None
    token, dug = links.write_token(consent), links.write_token(consent, number)
    return Cooperative(data, engine, f"/hand/{hand}", f"/told/{token}", f"/dug/{dug}")


def _find_wave_f(day: date) -> float:
    return YEARLY_F * math.sin(2 * math.pi * (day.timetuple().tm_yday - 110) / 365)
