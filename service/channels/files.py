"""Messages as files in a folder, which no one but the operator reads."""

from __future__ import annotations

import math
import os
import re
import unicodedata
from datetime import timedelta
from pathlib import Path

from service.channels.contract import ChannelDownError
from service.store.outbox import Message

SUFFIXES = {"mail": ".eml", "sms": ".txt"}


class FileChannel:
    """Writes each message to its own file: the same one, however often."""

    is_real = False
    lease = timedelta(seconds=60)
    per_min = math.inf

    def __init__(self, folder: Path) -> None:
        self.where = str(folder)
        self._folder = folder

    def send(self, message: Message) -> str:
        """Write a message to its file, complete or not at all; return the file."""
        path = self._folder / f"{message.id:06d}-{_reader(message)}{SUFFIXES[message.channel]}"
        partial = path.with_suffix(".part")
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            partial.touch(mode=0o600)
            with partial.open("wb") as file:
                file.write(message.message.encode())
                file.flush()
                os.fsync(file.fileno())
            partial.replace(path)
        except OSError as error:
            why = f"cannot write {path}: {error.strerror}; make room there, or let it be written to"
            raise ChannelDownError(why) from None
        return str(path)

    def close(self) -> None:
        """Nothing is kept open."""


def _reader(message: Message) -> str:
    plain = unicodedata.normalize("NFKD", message.recipient_name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")
