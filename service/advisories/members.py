"""The members of a region: its growers, and where each wants to be told."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, select

from alerts.digest import Reader
from service.digests import find_places
from service.settings import Settings
from service.store.advisories import Scope
from service.store.consents import Consent, ensure_consent
from service.store.recipients import Recipient, fetch_growers, fetch_recipients
from service.store.tables import organisation
from service.store.undelivered import fetch_suspensions


@dataclass(frozen=True)
class Member:
    """A grower of the region, and where an advisory goes.

    own : the ids of the districts they grow in
    left_out : why it goes nowhere
    """

    recipient: Recipient
    reader: Reader
    own: frozenset[str]
    places: list[Consent]
    left_out: str | None

    def count(self, channel: str) -> int:
        """Return how many messages they get by a channel."""
        return sum(place.channel == channel for place in self.places)


@dataclass(frozen=True)
class Region:
    """What is known of all members at once. `own`: by name, the districts they grow in."""

    organisation: str
    recipients: Mapping[str, Recipient]
    suspended: Collection[tuple[str, str]]
    own: Mapping[str, frozenset[str]]

    def find_member(
        self, connection: Connection, name: str, settings: Settings, now: datetime
    ) -> Member:
        """Return a member with the places that want to be told now."""
        recipient = self.recipients[name]
        reader = Reader(name, recipient.language, recipient.unit, self.organisation)
        places = find_places(connection, recipient, self.suspended, settings, now)
        left_out = None if places else self._find_why(connection, recipient)
        return Member(recipient, reader, self.own[name], places, left_out)

    def _find_why(self, connection: Connection, recipient: Recipient) -> str:
        """Return why nothing goes to a member."""
        why = {
            "asked": "has not said yes",
            "not asked": "has not been asked yet",
            "stopped": "wants no messages",
        }
        said = [
            "address suspended"
            if place in self.suspended
            else why.get(ensure_consent(connection, recipient.name, *place).state)
            for place in recipient.addresses
        ]
        return ", ".join(dict.fromkeys(filter(None, said))) or "has no address"


def fetch_region(connection: Connection) -> Region:
    """Return what is known of the members of the region."""
    return Region(
        connection.scalar(select(organisation.c.name)) or "",
        fetch_recipients(connection),
        fetch_suspensions(connection),
        fetch_growers(connection),
    )


def find_members(
    connection: Connection, settings: Settings, now: datetime, district_ids: Scope = None
) -> list[Member]:
    """Return the growers of some districts, or of the region, by name."""
    region = fetch_region(connection)
    names = sorted(growing_in(region.own, district_ids))
    return [region.find_member(connection, name, settings, now) for name in names]


def growing_in(own: Mapping[str, frozenset[str]], district_ids: Scope) -> set[str]:
    """Return those of some growers, each with their districts, to whom an advisory goes."""
    return {name for name, ids in own.items() if district_ids is None or ids & district_ids}
