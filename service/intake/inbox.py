"""The watched folder: DATA/inbox/LOGGER/FILE is imported once, then moved to done/ or refused/.

The import commits first. Then the file is taken aside under its name, and is moved, its report
before it, if it is the one that was imported; another that had come in its place goes back, and so
does one that is written to after it was moved. Whatever is cut off in between is done again: the
content's hash shows that it is in.
"""

from __future__ import annotations

import hashlib
import logging
import os
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from fcntl import LOCK_EX, LOCK_NB, flock
from itertools import chain
from pathlib import Path
from typing import Literal
from uuid import uuid4

from sqlalchemy import Engine

from probes.logger_files import FileRefused
from service.intake.files import import_file, told_name
from service.intake.known import Known, WithdrawnError, find_known
from service.intake.moved import NOTES, find_written_to, note_moved
from service.intake.reports import COUNTS, ImportReport
from service.intake.resting import Look, Resting, find_look
from service.settings import Settings
from service.store.engine import reading
from service.store.loggers import fetch_file_logger_ids

log = logging.getLogger(__name__)

REPORT = ".report.txt"
TEMPORARY_STARTS = (".", "~")  # what programs that copy and sync call a file until it is whole
TEMPORARY_ENDS = ("~", ".part", ".partial", ".tmp", ".temp", ".crdownload", ".download", ".swp")

FATES_MOVED = ("done", "refused")
TAKEN = ".taken"  # the folder of what is being moved
LONGEST_NAME = 200  # of 255 bytes; a number and the ending of the report follow

Clock = Callable[[], datetime]
Fate = Literal["done", "refused", "no logger", "left", "changing", "failed"]


@dataclass(frozen=True)
class InboxFile:
    """What became of one file of the inbox, or of what lies there and is of no logger.

    name : from the inbox on
    lines : what there is to say, as in its report
    is_clean : whether all is well with it
    is_new : whether it had not been reported before
    """

    name: str
    fate: Fate
    lines: tuple[str, ...]
    is_clean: bool = False
    is_new: bool = True


def empty_inbox(
    engine: Engine,
    settings: Settings,
    resting: Resting,
    clock: Clock = lambda: datetime.now(UTC),
) -> list[InboxFile]:
    """Import what rests in the inbox, by earlier calls too; nothing while another process is at it.

    The clock is asked for each file: importing the one before may have taken long.
    """
    inbox = settings.inbox
    inbox.mkdir(parents=True, exist_ok=True)
    with (inbox / ".lock").open("w") as lock:
        try:
            flock(lock, LOCK_EX | LOCK_NB)
        except BlockingIOError:
            return []
        with reading(engine) as connection:
            known = fetch_file_logger_ids(connection)
        resting.look_again()
        return [
            became
            for entry in sorted(inbox.iterdir())
            if not _is_temporary(entry)
            for became in (
                _try_folder(engine, settings, entry, resting, clock)
                if entry.name in known and entry.is_dir()
                else _report_unknown(entry, known)
            )
        ]


def _try_folder(
    engine: Engine, settings: Settings, folder: Path, resting: Resting, clock: Clock
) -> Iterator[InboxFile]:
    """Empty a folder, or say, once, why it cannot be: it must not keep the others out."""
    of_ours = (folder, *(folder / name for name in (TAKEN, NOTES, *FATES_MOVED)))
    link = next((one for one in of_ours if one.is_symlink()), None)
    if link is not None:  # files of elsewhere would be moved by it, or ours to there
        line = f"'{link.name}' is a link, which is not followed; put a folder in its place"
        yield _report(folder, folder.name, "left", line)
        return
    try:
        yield from _empty_folder(engine, settings, folder, resting, clock)
    except OSError as error:
        line = f"{error.strerror or error}: the user that runs digseason must read and write there"
        yield _report(folder, folder.name, "failed", line)
    else:
        _report_path(folder).unlink(missing_ok=True)


def _empty_folder(
    engine: Engine, settings: Settings, folder: Path, resting: Resting, clock: Clock
) -> Iterator[InboxFile]:
    kept = (folder / fate for fate in FATES_MOVED)
    for path in chain((folder / TAKEN).glob("*"), *map(find_written_to, kept)):
        _put_back(path)
    names = {path.name for path in folder.iterdir()}
    for path in sorted(folder.iterdir()):
        is_ours = path.name in FATES_MOVED and path.is_dir()
        is_report = path.name.endswith(REPORT) and _subject(path).name in names
        if _is_temporary(path) or is_ours or is_report:
            continue
        if path.is_symlink() or not path.is_file():
            yield from _report_left(folder, path)
            continue
        name = f"{folder.name}/{told_name(path)}"
        changing = InboxFile(name, "changing", ("imported once it rests",), is_clean=True)
        try:
            before = path.stat()
            if not resting.rests(path, before, settings.inbox_settled_s):
                yield changing
                continue
            became = _import(engine, folder.name, path, clock())
            taken = _take(path)
            if find_look(taken.stat()) == find_look(before):
                _move(taken, became, find_look(before))
            else:
                _put_back(taken)
                became = changing
        except Exception as error:  # one file must not keep the others out
            log.exception("%s failed; the next pass tries again", name)
            became = InboxFile(name, "failed", (f"{type(error).__name__}: {error}",))
        yield became


def _import(engine: Engine, logger_id: str, path: Path, now: datetime) -> InboxFile:
    """Import a file that has not come before; return what became of it."""
    name = f"{logger_id}/{told_name(path)}"
    with path.open("rb") as content:
        sha256 = hashlib.file_digest(content, "sha256").hexdigest()
    try:
        with reading(engine) as connection:
            known = find_known(connection, logger_id, sha256, path.name, now)
        if known is not None:
            return _tell_known(name, known)
        return _tell(name, import_file(engine, logger_id, path, now))
    except (FileRefused, WithdrawnError) as error:
        return InboxFile(name, "refused", (str(error).removeprefix(f"{path.name}: "),))


def _tell(name: str, report: ImportReport, *before: str) -> InboxFile:
    """Return what became of a file by its report; refused is one without a reading to read."""
    read = report.inserted + report.identical + report.conflicting
    lines = [f"{count:<11} {getattr(report, count):>10,}" for count in COUNTS]
    if report.others:
        lines.append(f"rows of other loggers: {report.others:,}")
    lines += [f"sign of a wrong clock or unit: {sign}" for sign in report.signs]
    lines += [f"line {one.line}: {one.reason}: {one.text}" for one in report.rejects]
    return InboxFile(
        name,
        "refused" if report.rejected and not read else "done",
        (*before, *lines),
        is_clean=not report.rejects and not report.conflicting,
    )


def _tell_known(name: str, known: Known) -> InboxFile:
    first = f"import {known.import_id} of {known.imported_at:%Y-%m-%d %H:%M} UTC"
    was = f"its content is in already, by {first}, which came to this:"
    return _tell(name, known.report, was)


def _take(path: Path) -> Path:
    """Take a file from where another may come in its place; return where it is."""
    taken = path.parent / TAKEN / path.name
    taken.parent.mkdir(exist_ok=True)
    return path.replace(taken)


def _put_back(taken: Path) -> None:
    """Put a file that was taken, or moved, back to where it is imported, and in no one's place."""
    free = _find_free(taken.parent.parent, taken.name)
    try:
        os.link(taken, free, follow_symlinks=False)
        taken.unlink()
    except OSError:  # one has just come there, or the file system has no hard links
        taken.rename(free.with_stem(f"{free.stem}.{uuid4().hex[:8]}"))


def _move(taken: Path, became: InboxFile, look: Look) -> None:
    """Put a file that was taken where it belongs, its report and how it looked before it."""
    folder = taken.parent.parent / became.fate
    folder.mkdir(exist_ok=True)
    target = _find_free(folder, taken.name)
    _write_report(_report_path(target), (became.name, *became.lines))
    note_moved(target, look)
    taken.replace(target)


def _find_free(folder: Path, name: str) -> Path:
    """Return a path that nothing has: loggers give the same name to one file after the other."""
    short = Path(os.fsdecode(os.fsencode(name)[:LONGEST_NAME]))
    target, number = folder / short, 1
    while target.exists():
        number += 1
        target = folder / f"{short.stem}.{number}{short.suffix}"
    return target


def _report_left(folder: Path, path: Path) -> Iterator[InboxFile]:
    """Say, once, that something in a logger's folder is no file that is read; it stays."""
    if not path.is_symlink() and _is_empty(path):
        return
    what = "a link" if path.is_symlink() else "a folder" if path.is_dir() else "no file"
    line = f"{what}, which is not looked into; put its files beside it"
    yield _report(path, f"{folder.name}/{told_name(path)}", "left", line)


def _report_unknown(entry: Path, known: Collection[str]) -> Iterator[InboxFile]:
    """Say, once, that what lies there is of no logger; it stays until it can be imported."""
    if entry.name.endswith(REPORT) or _is_empty(entry):
        return
    loggers = ", ".join(known) or "none yet, run setup first"
    what = f"no logger '{entry.name}' has files" if entry.is_dir() else "in no logger's folder"
    line = f"{what}; put files into a folder that is named as their logger: {loggers}"
    yield _report(entry, entry.name, "no logger", line)


def _report(path: Path, name: str, fate: Fate, line: str) -> InboxFile:
    """Say something of what stays, once, where that can be noted beside it."""
    try:
        is_new = _write_report(_report_path(path), (line,))
    except OSError:
        is_new = True
    return InboxFile(name, fate, (line,), is_new=is_new)


def _is_empty(path: Path) -> bool:
    """Return whether something is a folder with nothing in it, as far as it can be read."""
    try:
        return path.is_dir() and not any(path.iterdir())
    except OSError:
        return False


def _is_temporary(path: Path) -> bool:
    name = path.name.lower()
    return name.startswith(TEMPORARY_STARTS) or name.endswith(TEMPORARY_ENDS)


def _report_path(path: Path) -> Path:
    return path.with_name(f"{path.name}{REPORT}")


def _subject(report: Path) -> Path:
    return report.with_name(report.name.removesuffix(REPORT))


def _write_report(path: Path, lines: Iterable[str]) -> bool:
    """Write a report, complete or not at all, unless it is there; return whether it is new."""
    text = "".join(f"{line}\n" for line in lines).encode(errors="backslashreplace")
    if path.is_file() and path.read_bytes() == text:
        return False
    partial = path.with_name(f"{path.name}.part")
    partial.unlink(missing_ok=True)
    with partial.open("xb") as stream:  # never through a link
        stream.write(text)
    partial.replace(path)
    return True
