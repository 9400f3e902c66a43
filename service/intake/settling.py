"""A person's word on conflicting readings: which value is kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from typing import Literal

import numpy as np
from sqlalchemy import Connection

from service.intake.retelling import Retold, retell
from service.store.loggers import Logger, fetch_logger
from service.store.settlements import (
    Conflict,
    Selection,
    Settlements,
    delete_settlements,
    fetch_conflicts,
    store_settlements,
)

Keep = Literal["other", "kept"]


class NoWordError(Exception):
    """A selection that holds no conflict, or one of which no single value can be kept."""


def settle(
    connection: Connection,
    logger_id: str,
    of: Selection,
    keep: Keep,
    person: str,
    now: datetime,
) -> tuple[int, Retold]:
    """Keep the other value of each conflict of a logger, or settle that the kept one stays.

    Return at how many readings, and what has changed.
    """
    logger = fetch_logger(connection, logger_id, lock=True)
    conflicts = fetch_conflicts(connection, of, logger_id)
    word: dict[str, dict[datetime, float]] = defaultdict(dict)
    for one in conflicts:
        value_c = one.other_c if keep == "other" else one.kept_c
        first_c = word[one.channel].setdefault(one.observed_at, value_c)
        if first_c != value_c:
            raise NoWordError(
                f"{one.channel} has more than one other value at {one.observed_at:%Y-%m-%dT%H:%MZ}"
                f", {first_c:g} and {value_c:g} °C: name the import whose value is to be kept"
            )
    return _give(connection, logger, conflicts, word, (person, now))


def unsettle(connection: Connection, logger_id: str, of: Selection) -> tuple[int, Retold]:
    """Keep the value that came first, as if nobody had settled these conflicts."""
    logger = fetch_logger(connection, logger_id, lock=True)
    of_logger = fetch_conflicts(connection, of, logger_id)
    settled = [one for one in of_logger if one.settled_by is not None]
    nothing: dict[str, dict[datetime, float]] = defaultdict(dict)
    for one in settled:
        nothing[one.channel][one.observed_at] = np.nan
    return _give(connection, logger, settled, nothing, None)


def _give(
    connection: Connection,
    logger: Logger,
    conflicts: Sequence[Conflict],
    word: dict[str, dict[datetime, float]],
    by: tuple[str, datetime] | None,
) -> tuple[int, Retold]:
    """Keep a person's word by channel and instant; without a person take it out."""
    if not conflicts:
        raise NoWordError("no such conflict; `digseason imports conflicts` lists them")
    for channel, values_c in word.items():
        instants = sorted(values_c)
        settled = Settlements(
            np.array([at.replace(tzinfo=None) for at in instants], "datetime64[us]"),
            np.array([values_c[at] for at in instants]),
        )
        probe_id = logger.probe(channel).id
        delete_settlements(connection, probe_id, settled.observed_at)
        if by is not None:
            store_settlements(connection, probe_id, settled, *by)
    ends = [one.observed_at for one in conflicts]
    retold = retell(connection, logger, min(ends), max(ends))
    return sum(map(len, word.values())), retold
