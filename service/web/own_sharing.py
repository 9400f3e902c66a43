"""Whether others see a grower's own sites, and a coordinator what was found there."""

from __future__ import annotations

from datetime import datetime
from http import HTTPStatus
from typing import Literal, NamedTuple

from sqlalchemy import Connection

from service.store.finds_consents import (
    FindsConsent,
    agree_to_finds,
    fetch_finds_consents,
    take_finds_back,
)
from service.store.sharing import Sharing, fetch_sharing, fetch_site_names, share, withdraw
from service.web.access import Visitor
from service.web.problems import Problem

Shared = Literal["no", "about", "exact"]
"""With whom all may see a site: nobody, without or with its exact place."""


class OwnSite(NamedTuple):
    """A site of a grower, and what they agreed to."""

    id: str
    name: str
    sharing: Sharing | None
    finds: FindsConsent | None


def find_own_sites(connection: Connection, who: Visitor) -> list[OwnSite]:
    """Return how it stands with each site of a grower, by name."""
    names, sharing = fetch_site_names(connection), fetch_sharing(connection)
    finds = fetch_finds_consents(connection)
    own = sorted(who.reach.own_site_ids, key=lambda one: names[one])
    return [OwnSite(one, names[one], sharing.get(one), finds.get(one)) for one in own]


def say_sharing(
    connection: Connection, who: Visitor, site_id: str, shared: Shared, now: datetime
) -> None:
    """Keep whether others see a site."""
    _check(site_id, who)
    if shared != "no":
        share(connection, site_id, shared == "exact", who.account.email, now)
        how = "with" if shared == "exact" else "without"
        who.note(connection, f"shared a site {how} its exact place", site_id, now)
    elif withdraw(connection, site_id):
        who.note(connection, "shared a site no longer", site_id, now)


def say_finds(
    connection: Connection, who: Visitor, site_id: str, are_told: bool, now: datetime
) -> None:
    """Keep whether the coordinator is told of finds at a site."""
    _check(site_id, who)
    if are_told:
        if agree_to_finds(connection, site_id, who.account.email, now):
            who.note(connection, "let the coordinator see finds", site_id, now)
    elif take_finds_back(connection, site_id, who.account.email, now):
        who.note(connection, "let the coordinator see finds no longer", site_id, now)


def _check(site_id: str, who: Visitor) -> None:
    if site_id not in who.reach.own_site_ids:
        raise Problem(HTTPStatus.NOT_FOUND, "no site of yours has this id")
