"""Advisories: kept when drafted, with the words put on top, who released them, and to whom."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

from pydantic import TypeAdapter
from sqlalchemy import Connection, and_, insert, select, update

from alerts.advisories.figures import Advisory
from service.store.tables import (
    advisory,
    advisory_district,
    advisory_member,
    advisory_note,
    advisory_reader,
    digest,
    outbox,
    recipient,
)

State = Literal["held", "replaced", "dropped", "released"]
Scope = frozenset[str] | None
"""The ids of the districts that an advisory speaks of; None: of the whole region."""

_FIGURES = TypeAdapter(Advisory)
_IS_HELD = and_(
    advisory.c.replaced_at.is_(None),
    advisory.c.released_at.is_(None),
    advisory.c.dropped_at.is_(None),
)
_WAITS = advisory_member.c.digest_id.is_(None), advisory_member.c.left_out.is_(None)


@dataclass(frozen=True)
class KeptNote:
    """A word on top of an advisory; in which language, None: in every one without its own."""

    language: str | None
    text: str
    person: str
    noted_at: datetime


@dataclass(frozen=True)
class KeptAdvisory:
    """An advisory as it is kept; `notes` in the order in which they were put.

    district_ids : those it speaks of, and in which those grow to whom it goes; None: all
    """

    id: int
    as_of: date
    figures: Advisory
    district_ids: Scope
    drafted_at: datetime
    drafted_by: str | None
    replaced_at: datetime | None
    released_at: datetime | None
    released_by: str | None
    dropped_at: datetime | None
    dropped_by: str | None
    dropped_why: str | None
    notes: tuple[KeptNote, ...] = field(default=())

    @property
    def state(self) -> State:
        """How it stands, in a word."""
        if self.released_at:
            return "released"
        if self.dropped_at:
            return "dropped"
        return "replaced" if self.replaced_at else "held"

    def find_note(self, language: str) -> KeptNote | None:
        """Return the note for readers of a language."""
        last = {one.language: one for one in self.notes}
        found = last.get(language) or last.get(None)
        return found if found and found.text else None


def fetch_advisories(connection: Connection, number: int | None = None) -> list[KeptAdvisory]:
    """Return the advisories, or one, the latest first."""
    notes: dict[int, list[KeptNote]] = defaultdict(list)
    columns = [advisory_note.c[name] for name in KeptNote.__dataclass_fields__]
    query = select(advisory_note.c.advisory_id, *columns).order_by(advisory_note.c.id)
    for advisory_id, *said in connection.execute(query):
        notes[advisory_id].append(KeptNote(*said))
    districts: dict[int, set[str]] = defaultdict(set)
    for advisory_id, district_id in connection.execute(select(advisory_district)):
        districts[advisory_id].add(district_id)
    query = select(advisory).order_by(advisory.c.id.desc())
    if number is not None:
        query = query.where(advisory.c.id == number)
    return [
        KeptAdvisory(
            **{**row, "figures": _FIGURES.validate_python(row["figures"])},
            district_ids=frozenset(districts[row["id"]]) or None,
            notes=tuple(notes[row["id"]]),
        )
        for row in connection.execute(query).mappings()
    ]


def add_draft(
    connection: Connection,
    figures: Advisory,
    now: datetime,
    person: str | None = None,
    district_ids: Scope = None,
) -> int:
    """Keep a draft; return its number.

    It replaces those of the same districts that are held, and takes over the notes of the last of
    them. Coordinators are to be told of one for the whole region.
    """
    held = [
        one
        for one in fetch_advisories(connection)
        if one.state == "held" and one.district_ids == district_ids
    ]
    numbers = [one.id for one in held]
    replaced = update(advisory).where(_IS_HELD, advisory.c.id.in_(numbers))
    connection.execute(replaced.values(replaced_at=now))
    row = {
        "as_of": figures.as_of,
        "figures": _FIGURES.dump_python(figures, mode="json"),
        "drafted_at": now,
        "drafted_by": person,
    }
    number = connection.execute(insert(advisory).values(row).returning(advisory.c.id)).scalar_one()
    for district_id in sorted(district_ids or ()):
        of_one = {"advisory_id": number, "district_id": district_id}
        connection.execute(insert(advisory_district).values(of_one))
    for one in held[:1]:
        for note in one.notes:
            connection.execute(insert(advisory_note).values(advisory_id=number, **vars(note)))
    readers = select(recipient.c.name).where(*_coordinates())
    for name in [] if district_ids else connection.scalars(readers).all():
        told = {"advisory_id": number, "recipient_name": name}
        connection.execute(insert(advisory_reader).values(told))
    return number


def has_coordinators(connection: Connection) -> bool:
    """Return whether there is anyone to review an advisory."""
    return connection.scalar(select(recipient.c.name).where(*_coordinates()).limit(1)) is not None


def _coordinates() -> tuple[Any, ...]:
    return recipient.c.role == "coordinator", recipient.c.retired_at.is_(None)


def add_note(connection: Connection, number: int, note: KeptNote) -> None:
    """Put a word on top of an advisory."""
    connection.execute(insert(advisory_note).values(advisory_id=number, **vars(note)))


def mark_released(connection: Connection, number: int, person: str, now: datetime) -> bool:
    """Note that a person has released an advisory; return whether it was held until now.

    Of several who do so at once only one is told so.
    """
    return _end(connection, number, released_at=now, released_by=person)


def mark_dropped(connection: Connection, number: int, person: str, why: str, now: datetime) -> bool:
    """Note that a person has dropped an advisory; return whether it was held until now."""
    return _end(connection, number, dropped_at=now, dropped_by=person, dropped_why=why)


def _end(connection: Connection, number: int, **values: Any) -> bool:
    of_one = update(advisory).where(advisory.c.id == number, _IS_HELD)
    return connection.execute(of_one.values(values)).rowcount == 1


def add_members(connection: Connection, number: int, names: Iterable[str]) -> None:
    """Keep for whom an advisory is released."""
    rows = [{"advisory_id": number, "recipient_name": name} for name in names]
    if rows:
        connection.execute(insert(advisory_member), rows)


def has_uncomposed(connection: Connection) -> bool:
    """Return whether there are members whose messages are not composed yet."""
    return (
        connection.scalar(select(advisory_member.c.advisory_id).where(*_WAITS).limit(1)) is not None
    )


def claim_members(connection: Connection, at_most: int) -> list[tuple[int, str]]:
    """Return number and member of what is to be composed; until the transaction ends no one else is
    given the same.
    """
    query = (
        select(advisory_member.c.advisory_id, advisory_member.c.recipient_name)
        .where(*_WAITS)
        .order_by(advisory_member.c.advisory_id, advisory_member.c.recipient_name)
        .limit(at_most)
        .with_for_update(skip_locked=True)
    )
    return [(number, name) for number, name in connection.execute(query)]


def mark_composed(
    connection: Connection,
    number: int,
    recipient_name: str,
    digest_id: int | None,
    left_out: str | None,
) -> None:
    """Note the digest that tells a member of an advisory, or why none does."""
    connection.execute(
        update(advisory_member)
        .where(
            advisory_member.c.advisory_id == number,
            advisory_member.c.recipient_name == recipient_name,
        )
        .values(digest_id=digest_id, left_out=left_out)
    )


def fetch_members(connection: Connection, number: int) -> list[Any]:
    """Return for whom an advisory was released, as rows: a message each, or why they were not told.

    Each has recipient_name, left_out, and of the outbox id, channel, address, delivered_at, ended,
    failure; neither an id nor a reason while it is not composed yet.
    """
    columns = ("id", "channel", "address", "delivered_at", "ended", "failure")
    query = (
        select(
            advisory_member.c.recipient_name,
            advisory_member.c.left_out,
            *(outbox.c[name] for name in columns),
        )
        .outerjoin(digest, digest.c.id == advisory_member.c.digest_id)
        .outerjoin(outbox, outbox.c.digest_id == digest.c.id)
        .where(advisory_member.c.advisory_id == number)
        .order_by(advisory_member.c.recipient_name, outbox.c.id)
    )
    return list(connection.execute(query))


def fetch_untold(connection: Connection) -> list[tuple[int, str]]:
    """Return number and coordinator of each held advisory that the coordinator is to be told of."""
    query = (
        select(advisory.c.id, advisory_reader.c.recipient_name)
        .join(advisory_reader)
        .where(_IS_HELD, advisory_reader.c.digest_id.is_(None))
        .order_by(advisory_reader.c.recipient_name, advisory.c.id)
    )
    return [(number, name) for number, name in connection.execute(query)]


def mark_told(connection: Connection, number: int, recipient_name: str, digest_id: int) -> None:
    """Note that a coordinator is told that an advisory waits."""
    connection.execute(
        update(advisory_reader)
        .where(
            advisory_reader.c.advisory_id == number,
            advisory_reader.c.recipient_name == recipient_name,
        )
        .values(digest_id=digest_id)
    )
