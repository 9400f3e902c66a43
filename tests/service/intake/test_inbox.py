"""The inbox: what has settled is imported once and moved, with a report beside it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from errno import EACCES, EPERM
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from service.intake import inbox, resting
from service.intake.inbox import Clock, InboxFile, empty_inbox
from service.intake.moved import NOTES, WATCHED_S
from service.intake.resting import Resting
from service.intake.undoing import withdraw
from service.settings import Settings
from service.store.engine import writing
from tests.imported import HEADER, kept, row, set_up, write_lines, write_log

pytestmark = pytest.mark.sqlite_by_day

VALUES = {hour: (10.0 + hour, 12.0) for hour in range(1, 5)}


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data=tmp_path, inbox_settled_s=0)


@pytest.fixture
def folder(engine: Engine, settings: Settings) -> Path:
    """The inbox of the one logger."""
    set_up(engine)
    made = settings.inbox / "u1"
    made.mkdir(parents=True)
    return made


def look(engine: Engine, settings: Settings) -> list[InboxFile]:
    return empty_inbox(engine, settings, Resting())


def fates(files: list[InboxFile]) -> list[tuple[str, str]]:
    return [(file.name, file.fate) for file in files]


def lying(folder: Path) -> list[str]:
    """Return all files below a folder, less the lock and the notes."""
    paths = (path for path in folder.rglob("*") if path.is_file() and path.name != ".lock")
    return sorted(
        path.relative_to(folder).as_posix() for path in paths if path.parent.name != NOTES
    )


@pytest.mark.both_by_day
def test_a_settled_file_is_imported_and_moved_with_its_report(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "october.csv", VALUES)
    assert fates(look(engine, settings)) == [("u1/october.csv", "done")]
    assert len(kept(engine)["reading"]) == 8
    assert lying(folder) == ["done/october.csv", "done/october.csv.report.txt"]
    report = (folder / "done" / "october.csv.report.txt").read_text().splitlines()
    assert report[:2] == ["u1/october.csv", "inserted             8"]


@pytest.mark.parametrize("step", ["_take", "_move"])
def test_a_file_that_comes_in_the_place_of_one_is_imported_too(
    engine: Engine, settings: Settings, folder: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    half = dict(list(VALUES.items())[:2])
    write_log(folder / "october.csv", half)
    act = getattr(inbox, step)

    def act_too_late(*given: Any) -> Any:
        monkeypatch.undo()
        write_log(settings.data / "whole.csv", VALUES)
        (settings.data / "whole.csv").replace(folder / "october.csv")
        return act(*given)

    monkeypatch.setattr(inbox, step, act_too_late)
    (first,) = look(engine, settings)
    (second,) = look(engine, settings)
    assert (first.fate, second.fate) == ({"_take": "changing", "_move": "done"}[step], "done")
    assert len(kept(engine)["reading"]) == 8
    assert "october.csv" not in lying(folder)


def test_what_was_cut_off_while_it_was_moved_goes_back(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    (folder / inbox.TAKEN).mkdir()
    write_log(folder / inbox.TAKEN / "october.csv", VALUES)
    assert fates(look(engine, settings)) == [("u1/october.csv", "done")]
    assert lying(folder) == ["done/october.csv", "done/october.csv.report.txt"]


@pytest.mark.parametrize("has_links", [True, False], ids=["hard links", "none"])
def test_what_goes_back_takes_no_place_that_is_taken_meanwhile(
    engine: Engine,
    settings: Settings,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    has_links: bool,
) -> None:
    (folder / inbox.TAKEN).mkdir()
    write_log(folder / inbox.TAKEN / "october.csv", VALUES)
    find_free = inbox._find_free

    def find_too_early(where: Path, name: str) -> Path:
        free = find_free(where, name)
        return write_log(free, {9: (19.0, 12.0)}) if where == folder else free

    def link(*_: Any, **__: Any) -> None:
        raise PermissionError(EPERM, os.strerror(EPERM))

    monkeypatch.setattr(inbox, "_find_free", find_too_early)
    if not has_links:
        monkeypatch.setattr(os, "link", link)
    assert [file.fate for file in look(engine, settings)] == ["done", "done"]
    assert len(kept(engine)["reading"]) == 10


def test_a_report_names_each_reject_with_its_line(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_lines(folder / "bad.csv", ["2025-10-01 01:00,11,12", "2025-10-01 02:00,x1,12"])
    (file,) = look(engine, settings)
    report = (folder / "done" / "bad.csv.report.txt").read_text()
    assert "line 3: " in report
    assert "x1" in report
    assert (file.fate, file.is_clean) == ("done", False)


@pytest.mark.both_by_day
def test_the_same_content_under_another_name_is_not_imported_again(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "october.csv", VALUES)
    look(engine, settings)
    write_log(folder / "copy of october.csv", VALUES)
    look(engine, settings)
    report = (folder / "done" / "copy of october.csv.report.txt").read_text()
    assert "in already, by import 1 of" in report
    assert "inserted             8" in report


def test_what_a_clock_that_was_behind_took_for_the_future_comes_in_with_its_file_again(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "october.csv", VALUES)
    empty_inbox(engine, settings, Resting(), lambda: datetime(2025, 9, 30, 16, tzinfo=UTC))
    assert len(kept(engine)["reading"]) == 4  # by hand: by 02:00 of UTC+10:00, at two depths
    write_log(folder / "october.csv", VALUES)
    assert fates(look(engine, settings)) == [("u1/october.csv", "done")]
    assert len(kept(engine)["reading"]) == 8


def test_other_content_under_the_same_name_keeps_both_files(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "log.csv", VALUES)
    look(engine, settings)
    write_log(folder / "log.csv", {9: (19.0, 12.0)})
    look(engine, settings)
    assert [name for name in lying(folder) if name.endswith(".csv")] == [
        "done/log.2.csv",
        "done/log.csv",
    ]
    assert len(kept(engine)["reading"]) == 10


def test_a_file_that_is_none_of_the_logger_is_refused_with_the_reason(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    (folder / "letter.txt").write_text("Dear all,\n")
    assert fates(look(engine, settings)) == [("u1/letter.txt", "refused")]
    assert lying(folder) == ["refused/letter.txt", "refused/letter.txt.report.txt"]
    assert "time" in (folder / "refused" / "letter.txt.report.txt").read_text()


@pytest.mark.both_by_day
def test_content_that_was_withdrawn_stays_out(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "october.csv", VALUES)
    look(engine, settings)
    with writing(engine) as connection:
        withdraw(connection, 1, "Ada Example", "of another block", datetime.now(UTC))
    write_log(folder / "again.csv", VALUES)
    assert fates(look(engine, settings)) == [("u1/again.csv", "refused")]
    report = (folder / "refused" / "again.csv.report.txt").read_text()
    assert "of another block; `digseason imports restore 1`" in report


class Looking:
    """Looks at the inbox again and again, when a test says; what rests has done so for 10 s."""

    def __init__(self, engine: Engine, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
        self._engine, self._resting, self._now_s = engine, Resting(), 0.0
        self._settings = settings.model_copy(update={"inbox_settled_s": 10})
        monkeypatch.setattr(resting, "monotonic", lambda: self._now_s)

    def begin_anew(self) -> None:
        """Remember nothing, as another process."""
        self._resting = Resting()

    def after(self, seconds: float, clock: Clock = lambda: datetime.now(UTC)) -> list[str]:
        self._now_s += seconds
        found = empty_inbox(self._engine, self._settings, self._resting, clock)
        return [file.fate for file in found]


@pytest.fixture
def looking(engine: Engine, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Looking:
    return Looking(engine, settings, monkeypatch)


@pytest.mark.parametrize("days", [-9000, 0, 400], ids=["long ago", "now", "ahead"])
def test_a_file_rests_when_it_is_seen_unchanged_whatever_its_time(
    folder: Path, looking: Looking, days: int
) -> None:
    path = write_log(folder / "october.csv", VALUES)
    at_s = (datetime.now(UTC) + timedelta(days=days)).timestamp()
    os.utime(path, (at_s, at_s))
    assert [looking.after(seconds) for seconds in (0, 9, 1)] == [
        ["changing"],
        ["changing"],
        ["done"],
    ]


def test_a_file_that_is_written_to_waits_though_its_time_stays(
    engine: Engine, folder: Path, looking: Looking
) -> None:
    with (folder / "october.csv").open("w") as file:
        for lines in ([HEADER], [row(hour, VALUES[hour]) for hour in VALUES]):
            file.write("\n".join([*lines, ""]))
            file.flush()
            os.utime(file.fileno(), (0, 0))
            assert looking.after(60) == ["changing"]
    assert looking.after(60) == ["done"]
    assert len(kept(engine)["reading"]) == 8


def test_a_file_that_is_written_to_while_another_is_imported_waits(
    folder: Path, looking: Looking
) -> None:
    write_log(folder / "a.csv", VALUES)
    write_log(folder / "b.csv", {9: (19.0, 12.0)})
    looking.after(0)

    def import_long() -> datetime:
        if (folder / "a.csv").exists():
            write_log(folder / "b.csv", VALUES)
        return datetime.now(UTC)

    assert looking.after(60, import_long) == ["done", "changing"]


def test_the_last_file_of_a_long_pass_goes_by_the_time_it_is_imported_at(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "a.csv", VALUES)
    write_log(folder / "b.csv", {9: (19.0, 12.0)})
    begun = datetime(2025, 9, 30, 19, tzinfo=UTC)  # by hand: 05:00 of UTC+10:00
    nows = iter([begun, begun + timedelta(hours=4)])
    empty_inbox(engine, settings, Resting(), lambda: next(nows))
    assert len(kept(engine)["reading"]) == 10


@pytest.mark.parametrize(("begin", "fate"), [(0, "refused"), (3, "done")])
def test_a_file_that_is_written_to_after_it_was_moved_is_read_again_by_another_process(
    engine: Engine, folder: Path, looking: Looking, begin: int, fate: str
) -> None:
    lines = [f"{line}\n" for line in (HEADER, *(row(hour, VALUES[hour]) for hour in VALUES))]
    with (folder / "october.csv").open("w") as file:
        file.writelines(lines[:begin])
        file.flush()
        assert [looking.after(0), looking.after(60), looking.after(60)] == [
            ["changing"],
            [fate],
            [],
        ]
        looking.begin_anew()
        file.writelines(lines[begin:])
    assert [looking.after(60), looking.after(60)] == [["changing"], ["done"]]
    assert looking.after(60) == []
    assert len(kept(engine)["reading"]) == 8


def test_a_file_that_was_moved_is_watched_for_a_day_and_what_grew_by_the_next_look_is_read(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "a.csv", VALUES)
    write_log(folder / "b.csv", {9: (19.0, 12.0)})
    look(engine, settings)
    assert look(engine, settings) == []
    for note in (folder / NOTES).iterdir():
        at_s = note.stat().st_mtime - WATCHED_S
        os.utime(note, (at_s, at_s))
    with (folder / "done" / "b.csv").open("a") as file:
        file.write(f"{row(10, (20.0, 12.0))}\n")
    assert fates(look(engine, settings)) == [("u1/b.csv", "done")]
    assert [note.name for note in (folder / NOTES).iterdir()] == ["b.csv.done"]
    assert len(kept(engine)["reading"]) == 12


@pytest.mark.parametrize(
    "name", [".october.csv.Xa3", "october.csv.part", "october.csv~", "~october.tmp", "a.CRDOWNLOAD"]
)
def test_a_file_with_a_temporary_name_waits(
    engine: Engine, settings: Settings, folder: Path, name: str
) -> None:
    write_log(folder / name, VALUES)
    assert look(engine, settings) == []
    assert lying(folder) == [name]


@pytest.mark.usefixtures("folder")
def test_a_folder_of_no_logger_is_reported_once_and_left(
    engine: Engine, settings: Settings
) -> None:
    (settings.inbox / "u9").mkdir()
    write_log(settings.inbox / "u9" / "october.csv", VALUES)
    first, second = look(engine, settings), look(engine, settings)
    assert [(file.name, file.fate, file.is_new) for file in (*first, *second)] == [
        ("u9", "no logger", True),
        ("u9", "no logger", False),
    ]
    assert lying(settings.inbox) == ["u9.report.txt", "u9/october.csv"]


@pytest.mark.usefixtures("folder")
def test_a_folder_that_became_a_loggers_loses_its_report(
    engine: Engine, settings: Settings
) -> None:
    (settings.inbox / "u1.report.txt").write_text("no logger 'u1' has files\n")
    look(engine, settings)
    assert lying(settings.inbox) == []


@pytest.mark.usefixtures("folder")
def test_a_file_outside_of_the_folders_is_reported_and_left(
    engine: Engine, settings: Settings
) -> None:
    write_log(settings.inbox / "october.csv", VALUES)
    assert fates(look(engine, settings)) == [("october.csv", "no logger")]
    assert lying(settings.inbox) == ["october.csv", "october.csv.report.txt"]


@pytest.mark.both_by_day
def test_one_file_that_fails_does_not_keep_the_next_out(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    write_log(folder / "a.csv", VALUES)
    write_log(folder / "b.csv", {9: (19.0, 12.0)})
    (folder / "done").mkdir()
    (folder / "done" / "a.csv.report.txt.part").mkdir()  # its report cannot be written
    assert fates(look(engine, settings)) == [("u1/a.csv", "failed"), ("u1/b.csv", "done")]


@pytest.fixture
def closed(monkeypatch: pytest.MonkeyPatch) -> set[Path]:
    """Folders that cannot be read."""
    named, read = set[Path](), Path.iterdir

    def iterdir(path: Path) -> Iterator[Path]:
        if path in named:
            raise PermissionError(EACCES, os.strerror(EACCES), f"{path}")
        return read(path)

    monkeypatch.setattr(Path, "iterdir", iterdir)
    return named


def test_a_loggers_folder_that_cannot_be_read_is_said_once_and_keeps_no_other_out(
    engine: Engine, settings: Settings, folder: Path, closed: set[Path]
) -> None:
    write_log(folder / "october.csv", VALUES)
    write_log(settings.inbox / "z.csv", VALUES)
    closed.add(folder)
    first, second = look(engine, settings), look(engine, settings)
    assert fates(first) == fates(second) == [("u1", "failed"), ("z.csv", "no logger")]
    assert [(file.is_new, file.is_clean) for file in (first[0], second[0])] == [
        (True, False),
        (False, False),
    ]
    report = settings.inbox / "u1.report.txt"
    assert report.read_text().startswith("Permission denied: the user that runs digseason must ")
    closed.clear()
    assert fates(look(engine, settings))[0] == ("u1/october.csv", "done")
    assert not report.exists()


def test_what_cannot_be_looked_into_or_noted_is_left_like_any_other(
    engine: Engine, settings: Settings, folder: Path, closed: set[Path]
) -> None:
    for path in (settings.inbox / "lost+found", folder / "2025"):
        path.mkdir()
        closed.add(path)
    long = "a" * 250
    write_log(settings.inbox / long, VALUES)
    write_log(folder / "october.csv", VALUES)
    assert fates(look(engine, settings)) == [
        (long, "no logger"),
        ("lost+found", "no logger"),
        ("u1/2025", "left"),
        ("u1/october.csv", "done"),
    ]


@pytest.mark.parametrize(
    ("name", "made"),
    [
        (b"caf\xe9.csv", "caf\N{REPLACEMENT CHARACTER}.csv"),
        (b"a\nb.csv", "a\N{REPLACEMENT CHARACTER}b.csv"),
        (b"x" * 250 + b".csv", "x" * 250 + ".csv"),
    ],
    ids=["not UTF-8", "a line break", "as long as names can be"],
)
def test_a_file_of_any_name_is_imported_and_moved(
    engine: Engine, settings: Settings, folder: Path, name: bytes, made: str
) -> None:
    write_log(folder / "october.csv", VALUES).rename(folder / os.fsdecode(name))
    assert fates(look(engine, settings)) == [(f"u1/{made}", "done")]
    assert len(kept(engine)["reading"]) == 8
    assert len(lying(folder / "done")) == 2


@pytest.mark.parametrize("name", ["", ".moved", ".taken", "done", "refused"])
def test_a_folder_that_is_a_link_is_not_followed(
    engine: Engine, settings: Settings, folder: Path, tmp_path: Path, name: str
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    write_log(elsewhere / "kept.csv", VALUES)
    write_log(folder / "a.csv", VALUES)
    if name:
        folder.joinpath(name).symlink_to(elsewhere)
    else:
        folder.rename(tmp_path / "before")
        folder.symlink_to(elsewhere)
    (found,) = look(engine, settings)
    linked = name or folder.name
    assert (found.name, found.fate, found.is_new) == (folder.name, "left", True)
    assert found.lines == (
        f"'{linked}' is a link, which is not followed; put a folder in its place",
    )
    assert lying(elsewhere) == ["kept.csv"]
    assert not look(engine, settings)[0].is_new
    if name:
        folder.joinpath(name).unlink()
        assert fates(look(engine, settings)) == [("u1/a.csv", "done")]


def test_a_report_goes_through_no_link_and_waits_at_no_pipe(
    engine: Engine, settings: Settings, folder: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other.txt"
    other.write_text("mine")
    write_log(folder / "a.csv", VALUES)
    (folder / "done").mkdir()
    (folder / "done" / "a.csv.report.txt.part").symlink_to(other)
    os.mkfifo(folder / "done" / "a.csv.report.txt")
    write_log(folder / "done" / "b.csv", VALUES)
    (folder / NOTES).mkdir()
    os.mkfifo(folder / NOTES / "b.csv.done")
    assert [one.fate for one in look(engine, settings)] == ["done"]
    assert other.read_text() == "mine"
    assert lying(folder / "done") == ["a.csv", "a.csv.report.txt", "b.csv"]


def test_what_is_no_file_of_a_logger_is_said_once_and_left(
    engine: Engine, settings: Settings, folder: Path
) -> None:
    (folder / "2025").mkdir()
    write_log(folder / "2025" / "october.csv", VALUES)
    (folder / "link.csv").symlink_to(folder / "2025" / "october.csv")
    os.mkfifo(folder / "pipe")
    told = [(file.name, file.fate, file.is_new) for file in look(engine, settings)]
    assert told == [
        ("u1/2025", "left", True),
        ("u1/link.csv", "left", True),
        ("u1/pipe", "left", True),
    ]
    again = look(engine, settings)
    assert [(file.fate, file.is_new) for file in again] == [("left", False)] * 3
    assert kept(engine)["reading"] == []
    report = (folder / "2025.report.txt").read_text()
    assert report == "a folder, which is not looked into; put its files beside it\n"
