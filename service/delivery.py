"""Deliver what waits in the outbox: a .eml or .txt file each, in the outbox folder."""

from __future__ import annotations

import os
import re
import unicodedata
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine

from service.store.engine import writing
from service.store.outbox import Message, claim_message, mark_delivered

SUFFIXES = {"mail": ".eml", "sms": ".txt"}


def deliver(engine: Engine, folder: Path, now: datetime) -> list[Path]:
    """Write every waiting message to its file and return the files.

    A message is claimed, written, then marked: one that was written but not marked when the process
    died is written again, to the same file, once its lease has lapsed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    while True:
        with writing(engine) as connection:
            message = claim_message(connection, now)
        if message is None:
            return written
        written.append(send_to_file(message, folder))
        with writing(engine) as connection:
            mark_delivered(connection, message.id, now)


def send_to_file(message: Message, folder: Path) -> Path:
    """Write a message to its own file, complete or not at all."""
    plain = unicodedata.normalize("NFKD", message.recipient_name).encode("ascii", "ignore").decode()
    reader = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")
    path = folder / f"{message.id:06d}-{reader}{SUFFIXES[message.channel]}"
    partial = path.with_suffix(".part")
    with partial.open("wb") as file:
        file.write(message.message.encode())
        file.flush()
        os.fsync(file.fileno())
    partial.replace(path)
    return path
