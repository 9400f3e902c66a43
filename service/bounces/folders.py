"""Letters from a Maildir, an mbox file, or a folder of .eml files; what is done is marked so."""

from __future__ import annotations

import mailbox
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

LARGEST_BYTES = 10_000_000


class MailFolderError(Exception):
    """Why a folder cannot be read, and what to do."""


@dataclass(frozen=True)
class Letter:
    """A letter that no one has dealt with. `done` marks that it need not be read again."""

    content: bytes
    done: Callable[[], object]


def read_letters(place: Path) -> Iterator[Letter]:
    """Yield the letters of a place; none where nothing is there.

    A Maildir has folders `new` and `cur`: what is done moves from one to the other. In an mbox it
    is marked as read, in a folder of .eml files it moves to `done`.

    Raises
    ------
    MailFolderError
    """
    with _readable(place):
        if (place / "new").is_dir() and (place / "cur").is_dir():
            for path in _files(place / "new"):
                target = place / "cur" / f"{path.name.partition(':')[0]}:2,S"
                yield _letter(path, target)
        elif place.is_dir():
            (place / "done").mkdir(exist_ok=True)
            for path in _files(place):
                if path.suffix.lower() == ".eml":
                    yield _letter(path, place / "done" / path.name)
        elif place.exists():
            yield from _read_mbox(place)


@contextmanager
def _readable(place: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise MailFolderError(
            f"{error.filename or place}: {error.strerror}; let Digseason read and write there"
        ) from None


def _files(folder: Path) -> list[Path]:
    return sorted(
        path
        for path in folder.iterdir()
        if path.is_file() and not path.name.startswith(".") and path.stat().st_size < LARGEST_BYTES
    )


def _letter(path: Path, target: Path) -> Letter:
    def move() -> None:
        with _readable(path):
            path.rename(target)

    return Letter(path.read_bytes(), move)


def _read_mbox(path: Path) -> Iterator[Letter]:
    box = mailbox.mbox(path, create=False)
    try:
        box.lock()
    except mailbox.ExternalClashError:
        return  # who delivers there is at it; the next time will do
    try:
        for key in box.keys():  # noqa: SIM118 (a mailbox iterates over its letters)
            if "R" not in box[key].get_flags():
                yield Letter(box.get_bytes(key), lambda key=key: _mark_read(box, key))
    finally:
        box.flush()
        box.unlock()
        box.close()


def _mark_read(box: mailbox.mbox, key: str) -> None:
    letter = box[key]
    letter.add_flag("R")
    box[key] = letter
