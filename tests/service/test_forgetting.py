"""digseason person: what is held of someone is handed out whole, and taken out whole."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, insert, select, update

from service.accounts import sign_in
from service.forgetting import forget
from service.intake.texts import take_text
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.consents import confirm, ensure_consent, fetch_consents
from service.store.dug import Window, say_dug
from service.store.engine import reading, writing
from service.store.forgetting import fetch_forgotten_since, fetch_person
from service.store.tokens import add_account_token
from service.store.undelivered import add_undelivered
from tests.commands import run
from tests.planted import plant_block, plant_days, plant_recipient
from tests.signed_in import PASSWORD, plant_account
from tests.smtp_server import SmtpServer
from tests.stores import rows_of

NOW = datetime(2025, 5, 6, 15, 30, tzinfo=UTC)
LATER = datetime(2025, 5, 8, 15, 30, tzinfo=UTC)
ADA, PHONE = "Ada Example", "+15550142"
MAIL = "ada@example.org"
WINDOW = Window("terrace-7", 2025, "spring")

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def told(engine: Engine, tmp_path: Path) -> Engine:
    """A store in which Ada and Petra were told by files; Ada wrote back, a mail to her failed."""
    settings = Settings(data=tmp_path)
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, ADA, ("mail", "sms"))
        connection.execute(update(tables.recipient).values(phone=PHONE))
        plant_recipient(connection, "Petra Example", ("mail",))
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5)
        confirm(connection, ensure_consent(connection, ADA, "mail", MAIL), ADA, "by text", NOW)
        take_text(connection, "7f3a", PHONE, "how warm is it", settings, NOW)
        add_undelivered(connection, ADA, "mail", MAIL, f"{MAIL}: no such user", NOW, False)
        connection.execute(
            insert(tables.advisory),
            {"as_of": date(2025, 5, 5), "figures": {}, "drafted_at": NOW, "drafted_by": ADA},
        )
    run_round(engine, settings, NOW)
    with writing(engine) as connection:
        say_dug(connection, ADA, WINDOW, "by link", NOW)
    return engine


def test_everything_that_is_held_of_a_person_is_handed_out(told: Engine) -> None:
    with reading(told) as connection:
        found = fetch_person(connection, ADA)
        assert fetch_person(connection, "Nobody Example") == {}
    assert {
        *("recipient", "address_consent", "dug", "text_received", "undelivered", "advisory"),
        *("digest", "outbox", "notice", "notice_recipient"),
    } == set(found)
    assert found["recipient"][0]["phone"] == PHONE
    assert any("64" in one["message"] for one in found["outbox"])
    assert found["text_received"][0]["text"] == "how warm is it"
    assert {one["address"] for one in found["outbox"]} == {MAIL, PHONE}


def test_who_is_forgotten_is_nowhere_in_the_store(told: Engine, tmp_path: Path) -> None:
    plant_account(told, MAIL, "grower", ADA)
    assert isinstance(sign_in(told, MAIL, PASSWORD, "192.0.2.77", NOW), str)
    before = rows_of(told)
    with writing(told) as connection:
        nobody, files = forget(connection, Settings(data=tmp_path), ADA, LATER)
    after = rows_of(told)
    assert nobody == "forgotten 1"
    everything = repr(after)
    assert (len(before["session"]), after["session"]) == (1, set())
    assert "192.0.2.77" not in repr(after["audit"])
    assert [text for text in (ADA, "Ada", MAIL, PHONE, "how warm") if text in everything] == []
    assert "Petra Example" in everything
    # what hangs together stays: as many notices, digests and messages as before
    same = ("notice", "notice_recipient", "digest", "outbox", "recipient", "advisory")
    assert [len(after[name]) for name in same] == [len(before[name]) for name in same]
    # by hand: a mail, a text, and the answer to hers
    assert sorted(path.name[7:] for path in files) == [
        "ada-example.eml",
        "ada-example.txt",
        "ada-example.txt",
    ]


@one_database
def test_a_forgotten_address_is_not_asked_again_when_its_person_is_set_up_anew(
    told: Engine, server: SmtpServer, mail_env: dict[str, object], tmp_path: Path
) -> None:
    settings = Settings(data=tmp_path, **mail_env)  # type: ignore[arg-type]
    with writing(told) as connection:
        forget(connection, settings, ADA, LATER)
        plant_recipient(connection, "Ada Example", ("mail",))
        plant_recipient(connection, "Ben Example", ("mail",))
    run_round(told, settings, LATER)
    assert sorted(one.to for one in server.taken) == ["ben@example.org", "petra@example.org"]
    with reading(told) as connection:
        consent = fetch_consents(connection)[ADA, "mail", MAIL]
    assert (consent.state, consent.stopped_how) == ("stopped", "asked to be forgotten")


@one_database
def test_an_address_is_known_again_by_a_hash_that_takes_long(told: Engine, tmp_path: Path) -> None:
    with writing(told) as connection:
        forget(connection, Settings(data=tmp_path), ADA, LATER)
    with reading(told) as connection:
        rows = connection.execute(select(tables.forgotten_address)).all()
        assert fetch_forgotten_since(connection, "mail", "ADA@example.org") == LATER
        assert fetch_forgotten_since(connection, "mail", "ben@example.org") is None
        assert fetch_forgotten_since(connection, "mail", PHONE) is None
    salts = {bytes.fromhex(row.salt) for row in rows}
    assert len(salts) == 1
    # source: [RFC-7914] as OpenSSL has it
    expected = hashlib.scrypt(b"sms:+15550142", salt=salts.pop(), n=16384, r=8, p=1, dklen=32)
    assert expected.hex() in {row.hash for row in rows}


@one_database
def test_the_command_writes_forgets_and_takes_files_away(
    told: Engine, store_url: str, tmp_path: Path
) -> None:
    def person(*words: object) -> tuple[int, str]:
        return run(tmp_path, "person", *words, database_url=store_url)

    folder = tmp_path / "outbox"
    assert len([*folder.glob("*ada*")]) == 3  # by hand: a mail, a text, and the answer to hers
    path = tmp_path / "ada.json"
    assert person("export", ADA, "--out", path) == (0, f"wrote {path}\n")
    assert json.loads(path.read_text("utf-8"))["recipient"][0]["email"] == MAIL
    code, printed = person("forget", ADA)
    assert (code, "nothing is done without --yes" in printed) == (0, True)
    assert ADA in repr(rows_of(told))
    code, printed = person("forget", ADA, "--yes")
    assert (code, "is forgotten, and is 'forgotten 1'" in printed) == (0, True)
    assert max(map(len, printed.splitlines())) <= 80
    assert [*folder.glob("*ada*")] == []
    assert len([*folder.glob("*petra*")]) == 1
    code, printed = person("export", ADA)
    assert (code, "there is no person 'Ada Example'" in printed) == (2, True)


@one_database
def test_who_only_signs_in_is_handed_out_and_forgotten_by_their_address(
    told: Engine, store_url: str, tmp_path: Path
) -> None:
    def person(*words: object) -> tuple[int, str]:
        return run(tmp_path, "person", *words, database_url=store_url)

    rhea = "rhea@example.org"
    account = plant_account(told, rhea, "researcher")
    plant_account(told, MAIL, "grower", ADA)
    secret = sign_in(told, rhea, PASSWORD, "192.0.2.78", NOW)
    assert isinstance(secret, str)
    with writing(told) as connection:
        add_account_token(connection, account.id, "read", NOW, "field laptop", LATER)
        connection.execute(update(tables.advisory).values(drafted_by="Rhea"))
    before = rows_of(told)
    found = json.loads(person("export", rhea)[1])
    assert {"account", "session", "token", "audit", "advisory"} == set(found)
    assert secret not in repr(found)
    assert person("forget", rhea, "--yes")[0] == 0
    after = rows_of(told)
    assert "192.0.2.78" not in repr(after["audit"])
    assert [one for one in ("rhea", "Rhea", "field laptop") if one in repr(after)] == []
    assert [len(after[one]) for one in ("account", "audit", "advisory")] == [
        len(before[one]) for one in ("account", "audit", "advisory")
    ]
    assert person("export", MAIL)[1].count(PHONE) > 0  # the address of one who is told as well
    assert person("forget", MAIL, "--yes")[0] == 0
    assert MAIL not in repr(rows_of(told))
