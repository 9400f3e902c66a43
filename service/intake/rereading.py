"""Kept deliveries read again, by the layout and the clock corrections of now."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from sqlalchemy import Connection

from probes.frames import LoggerFile, Reject
from probes.future_stamps import OF_FUTURE
from probes.logger_files import FileRefused
from probes.reset_clocks import OF_RESET
from service.intake.content import believe, read_content
from service.intake.ingest import find_ends
from service.intake.retelling import COUNTED, Retold, retell
from service.intake.signs import find_signs
from service.store.clocks import fetch_clock_corrections
from service.store.imports import (
    Batch,
    Content,
    UnknownImportError,
    fetch_batch,
    fetch_batches,
    fetch_content,
    fetch_rejects,
    replace_rejects,
    stands,
    update_batch,
    update_content,
)
from service.store.loggers import Logger, fetch_logger


@dataclass(frozen=True)
class Reread:
    """An import before and after it was read again; `refused` is why it was not."""

    before: Batch
    after: Batch
    refused: str | None = None


def reread(
    connection: Connection,
    logger_id: str,
    only: Collection[int],
    keep_layout: bool,
) -> tuple[list[Reread], Retold]:
    """Read imports of a logger again, those named or all that stand; what was kept then stays raw.

    With `keep_layout` only the corrections of the clock are those of now. A file that the layout of
    now refuses stays as it was read. FrozenError where one that is named is kept as means only; of
    all that stand these are left out.
    """
    logger = fetch_logger(connection, logger_id, lock=True)
    corrections = fetch_clock_corrections(connection, logger_id)
    befores = fetch_batches(connection, stands(logger_id))
    if only:
        befores = _choose(befores, only, logger_id)
        for batch in befores:
            logger.refuse_frozen(batch.last_at, f"import {batch.id}")
    frozen_until = logger.frozen_until
    if frozen_until is not None:
        befores = [one for one in befores if one.last_at is None or one.last_at > frozen_until]
    refused: dict[int, str] = {}
    for batch in befores:
        content = replace(fetch_content(connection, batch.id), clock_corrections=corrections)
        if content.layout and not keep_layout:
            content = replace(content, layout=logger.layout_spec)
        try:
            _read_anew(connection, logger, batch, content)
        except FileRefused as error:
            refused[batch.id] = str(error).removeprefix(f"{batch.file}: ")
    ends = [
        end
        for before in befores
        for batch in (before, fetch_batch(connection, before.id))
        for end in (batch.first_at, batch.last_at)
        if end is not None
    ]
    retold = retell(connection, logger, min(ends), max(ends)) if ends else Retold()
    return [
        Reread(before, fetch_batch(connection, before.id), refused.get(before.id))
        for before in befores
    ], retold


def _choose(standing: list[Batch], only: Collection[int], logger_id: str) -> list[Batch]:
    chosen = [batch for batch in standing if batch.id in only]
    others = set(only) - {batch.id for batch in chosen}
    if others:
        numbers = ", ".join(map(str, sorted(others)))
        raise UnknownImportError(f"no import {numbers} of {logger_id} stands")
    return chosen


def _read_anew(connection: Connection, logger: Logger, batch: Batch, content: Content) -> None:
    """Keep how a delivery is read now, and what was rejected; its readings follow."""
    stamped = read_content(content, batch.file, logger.layout_name, logger.id, batch.imported_at)
    file = believe(stamped, batch.source, batch.imported_at)
    rejects, missing = file.rejects, file.missing
    if not content.layout:  # of what was rejected before it was kept there is no more than this
        rejects = _with_lasting(fetch_rejects(connection, batch.id), file)
        missing = batch.missing
    update_content(connection, batch.id, content)
    replace_rejects(connection, batch.id, rejects)
    update_batch(
        connection,
        batch.id,
        rejected=sum(reject.readings for reject in rejects),
        missing=missing,
        signs=find_signs(connection, logger, batch.source, stamped, batch.imported_at),
        **({} if _begins_frozen(logger, batch) else dict.fromkeys(COUNTED, 0)),
        **({"first_at": None, "last_at": None} | find_ends(file)),
    )


def _begins_frozen(logger: Logger, batch: Batch) -> bool:
    """Return whether some of what an import counts cannot be counted anew."""
    until = logger.frozen_until
    return until is not None and batch.first_at is not None and batch.first_at <= until


def _with_lasting(before: list[Reject], file: LoggerFile) -> list[Reject]:
    lasting = [one for one in before if OF_FUTURE not in one.reason and OF_RESET not in one.reason]
    return sorted([*lasting, *file.rejects], key=lambda reject: reject.line)
