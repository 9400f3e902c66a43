"""Advisories: drafted by a round, held, and sent once to who agreed, by the word of a person."""

from __future__ import annotations

import json
import os
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, select, update

from service.rounds import run_due, run_round
from service.settings import Settings
from service.store import tables
from service.store.consents import confirm, ensure_consent
from service.store.engine import reading, writing
from tests.commands import digseason, run
from tests.mails import text_of
from tests.outbox_messages import let_leases_lapse
from tests.planted import plant_block, plant_days, plant_recipient
from tests.processes import start, wait_until
from tests.smtp_server import SmtpServer

NOW = datetime(2025, 5, 6, 15, 30, tzinfo=UTC)  # 08:30 on the wall
AS_OF = ("--as-of", "2025-05-05")
RELEASE = ("advisory", "release", 1, "--by", "Petra Example", "--yes", *AS_OF)
MEMBERS = ("Ada Example", "Ben Example", "Cai Example")

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def settings(mail_env: dict[str, object], tmp_path: Path) -> Settings:
    return Settings(data=tmp_path, **mail_env)  # type: ignore[arg-type]


@pytest.fixture
def region(engine: Engine) -> Engine:
    """A block that has opened, three growers and a coordinator."""
    with writing(engine) as connection:
        plant_block(connection)
        for name in (*MEMBERS, "Petra Example"):
            plant_recipient(connection, name)
        is_petra = tables.recipient.c.name == "Petra Example"
        connection.execute(update(tables.recipient).where(is_petra).values(role="coordinator"))
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5)
    return engine


@pytest.fixture
def drafted(region: Engine, tmp_path: Path, store_url: str) -> Engine:
    """A draft, and the digests that came with it are files."""
    run(tmp_path, "round", *AS_OF, database_url=store_url)
    return region


def addressed(engine: Engine, number: int = 1) -> list[str]:
    """Return who has a message of an advisory, as often as they have one."""
    member, outbox = tables.advisory_member, tables.outbox
    query = select(member.c.recipient_name).join(outbox, outbox.c.digest_id == member.c.digest_id)
    with reading(engine) as connection:
        return sorted(connection.scalars(query.where(member.c.advisory_id == number)))


def mails_about(folder: Path, words: str) -> list[str]:
    """Return the mails in a folder that say something."""
    files = sorted((folder / "outbox").glob("*.eml"))
    return [path.name for path in files if words in text_of(path.read_bytes())]


@one_database
def test_a_round_drafts_an_advisory_and_only_the_coordinator_is_told(
    region: Engine, settings: Settings, server: SmtpServer
) -> None:
    with writing(region) as connection:
        for name in (*MEMBERS, "Petra Example"):
            address = f"{name.split()[0].lower()}@example.org"
            confirm(connection, ensure_consent(connection, name, "mail", address), "x", "x", NOW)
    assert run_due(region, settings, NOW - timedelta(hours=4)).advisory == 1  # before their hour
    assert server.taken == []
    assert run_round(region, settings, NOW).advisory is None
    run_round(region, settings, NOW + timedelta(hours=1))
    waits = [one.to for one in server.taken if "Advisory 1 waits" in one.mail["Subject"]]
    assert waits == ["petra@example.org"]
    assert len(server.taken) == 5  # and a digest each
    assert addressed(region) == []


@one_database
@pytest.mark.parametrize(("days", "roles"), [(0, "coordinator"), (7, "grower")])
def test_none_is_drafted_where_none_is_wanted(
    region: Engine, settings: Settings, days: int, roles: str
) -> None:
    with writing(region) as connection:
        connection.execute(update(tables.recipient).values(role=roles))
    off = settings.model_copy(update={"advisory_days": days})
    assert run_round(region, off, NOW).advisory is None


def test_a_release_reaches_each_member_once_however_often_it_is_said(
    drafted: Engine, tmp_path: Path, store_url: str
) -> None:
    code, said = run(tmp_path, *RELEASE, database_url=store_url)
    assert (code, addressed(drafted)) == (0, list(MEMBERS))
    assert "to 3 members: 3 mails and 0 texts" in said
    again = run(tmp_path, *RELEASE, database_url=store_url)
    assert again[0] == 2
    assert "nothing is done: advisory 1 was released by Petra Example" in again[1]
    assert addressed(drafted) == list(MEMBERS)
    assert len(mails_about(tmp_path, "Released by Petra Example.")) == 3
    history = json.loads(
        run(tmp_path, "advisory", "history", 1, "--json", database_url=store_url)[1]
    )
    told = [(one["person"], one["recipient"]) for one in history if one["what"] == "told"]
    assert told == [("Petra Example", name) for name in MEMBERS]


def test_of_two_who_release_at_once_one_does(
    drafted: Engine, tmp_path: Path, store_url: str
) -> None:
    words = list(map(str, RELEASE))
    both = [start(tmp_path, *words, database_url=store_url) for _ in range(2)]
    said = [process.communicate(timeout=60)[0] for process in both]
    assert sorted(process.returncode for process in both) == [0, 2], said
    assert addressed(drafted) == list(MEMBERS)
    assert len(mails_about(tmp_path, "Released by Petra Example.")) == 3


@pytest.mark.sqlite_by_day
@pytest.mark.parametrize("killed", ["while it is composed", "while it is sent"])
def test_a_release_that_is_killed_sends_nothing_twice_and_loses_nothing(
    drafted: Engine, tmp_path: Path, store_url: str, killed: str
) -> None:
    # a pipe waits for its other end: there the process is held
    if killed == "while it is composed":
        env, pipe = {"DIGSEASON_BASE_URL": "https://dig.alder.example"}, tmp_path / "link.key"
    else:
        env, pipe = {}, tmp_path / "outbox" / "000007-ben-example.part"
    os.mkfifo(pipe)
    process = start(tmp_path, *map(str, RELEASE), database_url=store_url, env=env)
    if killed == "while it is composed":
        writer = pipe.open("wb")  # until it is opened for reading, when messages are composed
    else:
        wait_until(lambda: is_claimed(drafted, 7))
        writer = None
    process.kill()
    process.communicate()
    if writer:
        writer.close()
    pipe.unlink()
    before = addressed(drafted)
    code, said = run(tmp_path, *RELEASE, database_url=store_url)
    run(tmp_path, "round", *AS_OF, database_url=store_url)
    let_leases_lapse(drafted)
    run(tmp_path, "outbox", "send", database_url=store_url)

    assert (before, code) == ([] if writer else list(MEMBERS), 2), said
    assert addressed(drafted) == list(MEMBERS)
    mails = mails_about(tmp_path, "Released by Petra Example.")
    assert Counter(name[7:-4] for name in mails) == dict.fromkeys(
        ("ada-example", "ben-example", "cai-example"), 1
    )


def is_claimed(engine: Engine, number: int) -> bool:
    query = select(tables.outbox.c.leased_until).where(tables.outbox.c.id == number)
    with reading(engine) as connection:
        return connection.scalar(query) is not None


@one_database
def test_only_who_has_said_yes_is_told_and_the_cost_is_said_before(
    drafted: Engine, tmp_path: Path, mail_env: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in mail_env.items():
        monkeypatch.setenv(f"DIGSEASON_{name}".upper(), str(value))
    monkeypatch.setenv("DIGSEASON_SMS_MAIL_TO", "{digits}@sms.example")
    monkeypatch.setenv("DIGSEASON_SMS_PART_PRICE", "0.075 EUR")
    with writing(drafted) as connection:
        connection.execute(update(tables.recipient).values(channels=["mail", "sms"]))
        for name in MEMBERS[:2]:
            one = ensure_consent(connection, name, "sms", "+15550100")
            confirm(connection, one, name, "on paper", NOW)
    code, said = run(tmp_path, *RELEASE[:-3], *AS_OF)  # asks once more, and no one answers
    assert (code, addressed(drafted)) == (1, [])
    assert "to 2 members: 0 mails and 2 texts" in said
    # by hand: two texts of one part
    assert "about 0.15 EUR: 2 parts at 0.075 EUR each" in said
    assert "not to Cai Example: has not been asked yet" in said
    run(tmp_path, *RELEASE)
    assert addressed(drafted) == list(MEMBERS[:2])
    assert "Cai Example: has not been asked yet" in digseason(tmp_path, "advisory", "history", 1)


@one_database
def test_what_has_changed_since_the_draft_is_said_and_a_new_draft_keeps_the_notes(
    drafted: Engine, tmp_path: Path
) -> None:
    note = ("advisory", "note", 1, "--by", "Petra Example")
    digseason(tmp_path, *note, "Spades are at the office.")
    digseason(tmp_path, *note, "Palas en la oficina.", "--language", "es")
    later = (*RELEASE[:-1], "2025-05-09")  # no readings for four days
    code, said = run(tmp_path, *later)
    assert (code, addressed(drafted)) == (2, [])
    assert "0 of 1 open, 1 of 1 then; 1 not known for lack of readings" in said
    assert "out of date" in said
    digseason(tmp_path, "advisory", "draft", "--by", "Petra Example", "--as-of", "2025-05-09")
    assert "advisory 1 was replaced by a later draft" in run(tmp_path, *later)[1]
    assert "Spades are at" in digseason(tmp_path, "advisory", "show", 2, "--as", "mail")
    spanish = digseason(tmp_path, "advisory", "show", 2, "--as", "mail", "--language", "es")
    assert "Palas en la oficina." in spanish
    code, said = run(tmp_path, *later[:2], 2, *later[3:])
    assert (code, addressed(drafted, 2)) == (0, list(MEMBERS))
    listed = json.loads(digseason(tmp_path, "advisory", "--json"))
    assert [one["state"] for one in listed] == ["released", "replaced"]


@one_database
def test_it_goes_out_as_it_was_drafted_where_that_is_said(drafted: Engine, tmp_path: Path) -> None:
    assert run(tmp_path, *RELEASE[:-2], "--as-drafted")[0] == 0
    assert addressed(drafted) == list(MEMBERS)


@one_database
def test_a_dropped_advisory_goes_to_no_one(drafted: Engine, tmp_path: Path) -> None:
    digseason(tmp_path, "advisory", "drop", 1, "--by", "Petra Example", "--why", "told by phone")
    code, said = run(tmp_path, *RELEASE)
    assert (code, addressed(drafted)) == (2, [])
    assert "dropped by Petra Example" in said
    assert run(tmp_path, "advisory", "note", 1, "x", "--by", "Petra Example")[0] == 2
    assert "there is no advisory 9" in run(tmp_path, "advisory", "show", 9)[1]


@one_database
def test_one_of_a_district_is_drafted_beside_that_of_the_region(
    drafted: Engine, tmp_path: Path
) -> None:
    code, said = run(tmp_path, "advisory", "draft", "--by", "P", "--district", "hills", *AS_OF)
    assert code == 2
    assert "no block is in a district 'hills'" in said
    with writing(drafted) as connection:
        connection.execute(tables.district.insert().values(id="hills", name="The Hills"))
        connection.execute(update(tables.site).values(district_id="hills"))
    for _ in range(2):
        draft = ("advisory", "draft", "--by", "P", "--district", "hills", *AS_OF)
        assert run(tmp_path, *draft)[0] == 0
    kept = json.loads(run(tmp_path, "advisory", "--json")[1])
    shown = [(one["number"], one["state"], one["district_ids"]) for one in kept]
    assert shown == [(3, "held", ["hills"]), (2, "replaced", ["hills"]), (1, "held", None)]
    assert "of hills only" in run(tmp_path, "advisory", "show", "3", *AS_OF)[1]
