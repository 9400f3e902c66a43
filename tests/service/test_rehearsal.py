"""A past season played to a folder: what rounds would have told, and nothing else changes."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select, update

from service.rehearsal import find_told_tables
from service.store import tables
from service.store.consents import ensure_consent, stop
from service.store.engine import reading, writing
from tests.commands import run
from tests.mails import read_mail
from tests.planted import plant_block, plant_days, plant_recipient

PLAY = ("round", "--rehearse", 2025, "--since", "2025-05-03", "--until", "2025-05-06")

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def lived(engine: Engine) -> Engine:
    """A store that was told: its block opened on 4 May."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", ("mail", "sms"))
        plant_recipient(connection, "Petra Example")
        plant_recipient(connection, "Sten Example")
        is_petra = tables.recipient.c.name == "Petra Example"
        connection.execute(update(tables.recipient).where(is_petra).values(role="coordinator"))
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 6)
        stopped = ensure_consent(connection, "Sten Example", "mail", "sten@example.org")
        stop(connection, stopped, "by the link", datetime(2025, 3, 1, tzinfo=UTC))
    return engine


def subjects(folder: Path) -> list[tuple[str, str]]:
    """Return to whom the mails of a folder go and what they are about, in order of time."""
    mails = [read_mail(path.read_bytes()) for path in sorted(folder.rglob("*.eml"))]
    return [(mail["To"], mail["Subject"]) for mail in mails]


def count_rows(engine: Engine) -> dict[str, int | None]:
    with reading(engine) as connection:
        return {
            table.name: connection.scalar(select(func.count()).select_from(table))
            for table in tables.metadata.sorted_tables
        }


def test_a_rehearsal_tells_what_rounds_did_and_leaves_the_store_as_it_is(
    lived: Engine, tmp_path: Path, store_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    planted = count_rows(lived)
    for ahead in range(4):
        day = date(2025, 5, 3) + timedelta(days=ahead)
        run(tmp_path, "round", "--as-of", day, database_url=store_url)
    really, before = subjects(tmp_path / "outbox"), count_rows(lived)
    filled = {name for name in before if before[name] != planted[name]}
    # of who wants to be told nothing is forgotten
    assert filled - {table.name for table in find_told_tables()} <= {"address_consent"}
    # nothing listens there: what went out for real would be in trouble, and wait
    monkeypatch.setenv("DIGSEASON_SMTP_HOST", "127.0.0.1")
    monkeypatch.setenv("DIGSEASON_SMTP_PORT", "9")
    monkeypatch.setenv("DIGSEASON_SMTP_SECURITY", "none")
    monkeypatch.setenv("DIGSEASON_MAIL_FROM", "dig@alder.example")
    folder = tmp_path / "played"
    code, said = run(tmp_path, *PLAY, "--to", folder, database_url=store_url)
    assert code == 0, said
    assert subjects(folder) == really
    assert [subject for to, subject in really if to == "ada@example.org"] == [
        "Terrace 7: dig season is open"
    ]
    assert any("Advisory 1 waits" in subject for _, subject in really)
    assert count_rows(lived) == before
    # by hand: the five-day mean reaches 64 °F on 4 May, which is told on the morning after
    assert "2025-05-05  Ada Example, mail and sms: Terrace 7: dig season is open" in said
    assert "to 2 readers" in said  # Sten has stopped them
    with (folder / "summary.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert {row["file"] for row in rows} == {
        str(path.relative_to(folder)) for path in folder.rglob("*.*") if path.parent != folder
    }
    assert [path for path in tmp_path.iterdir() if path.name.startswith(".")] == []


@one_database
@pytest.mark.usefixtures("lived")
@pytest.mark.parametrize(
    ("words", "remedy"),
    [
        (("--rehearse", 2019), "no readings of season 2019"),
        (("--rehearse", 2025, "--since", "2025-06-01", "--until", "2025-05-01"), "no day of"),
        (("--rehearse", 2025, "--as-of", "2025-05-01"), "leave out --as-of"),
        (("--since", "2025-05-01"), "go with --rehearse"),
        ((*PLAY[1:], "--to", "."), "holds something; name a new folder by --to"),
    ],
)
def test_what_cannot_be_played_is_refused_with_a_remedy(
    tmp_path: Path, words: tuple[object, ...], remedy: str
) -> None:
    (tmp_path / "x").touch()
    words = tuple(tmp_path if word == "." else word for word in words)
    code, said = run(tmp_path, "round", *words)
    assert code == 2
    assert remedy in " ".join(said.split())
