"""How the readings of a site are checked: built in, or a table of the farm file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from probes.checks import CHECKS, Thresholds, read_thresholds
from service.store.tables import checks, site


@dataclass(frozen=True)
class SiteChecks:
    """The tests of a site's readings, by which thresholds.

    name : what the site says
    based_on : a key of CHECKS, whose tests they are
    set_here : those that the farm file sets, as "spike.suspect_c"
    """

    name: str
    based_on: str
    thresholds: Thresholds
    set_here: frozenset[str] = frozenset()

    @property
    def tests(self) -> tuple[str, ...]:
        """Those that are made, of TESTS."""
        return CHECKS[self.based_on]


def read_checks(name: str, spec: Mapping[str, Any] | None) -> SiteChecks:
    """Return the checks of a name, from its table of the farm file unless they are built in."""
    if spec is None:
        return SiteChecks(name, name, Thresholds())
    limits = {test: of_test for test, of_test in spec.items() if test != "based_on"}
    set_here = frozenset(f"{test}.{each}" for test, of_test in limits.items() for each in of_test)
    return SiteChecks(name, spec["based_on"], read_thresholds(limits), set_here)


def fetch_site_checks(connection: Connection) -> dict[str, SiteChecks]:
    """Return the checks of each active site."""
    query = select(site.c.id, site.c.checks, checks.c.spec).where(site.c.retired_at.is_(None))
    rows = connection.execute(query.outerjoin(checks, checks.c.name == site.c.checks))
    return {site_id: read_checks(name, spec) for site_id, name, spec in rows}
