"""Which files are written to though they were moved: who has one open for writing may go on.

A note of how each looked when it was read lies on disk: what is written between two processes is
seen by the next, however late, and the files that lie there are never gone through.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from stat import S_ISREG
from time import time

from service.intake.resting import Look, find_look

NOTES = ".moved"
"""The folder of notes, beside those into which files are moved."""

WATCHED_S = 24 * 3600
"""How long a file is watched at least."""


def note_moved(path: Path, look: Look) -> None:
    """Note how a file looked when it was read, before it is moved to where it is kept."""
    note = path.parent.parent / NOTES / f"{path.name}.{path.parent.name}"
    note.parent.mkdir(exist_ok=True)
    note.unlink(missing_ok=True)
    with note.open("xb") as stream:  # never through a link
        stream.write(_describe(look))


def find_written_to(folder: Path) -> Iterator[Path]:
    """Yield the files moved to a folder that have been written to since they were read.

    What is known of one is forgotten when the next is asked for: by then it must be put back.
    """
    for note in (folder.parent / NOTES).glob(f"*.{folder.name}"):
        path = folder / note.stem
        with suppress(FileNotFoundError):  # someone has taken it away
            found = path.lstat()
            if S_ISREG(found.st_mode) and note.is_file():
                if note.read_bytes() != _describe(find_look(found)):
                    yield path
                elif time() - note.stat().st_mtime < WATCHED_S:
                    continue
        note.unlink()


def _describe(look: Look) -> bytes:
    """Return what stays when a file is copied with its time, too: no inode."""
    return f"{look.size} bytes, written {look.mtime_ns} ns after 1970\n".encode()
