"""Mails that come back are found by their Message-ID, and what they mean is done and told."""

from __future__ import annotations

import hmac
import mailbox
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest
import requests
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine, func, insert, select, text

from service.bounces.reports import read_report
from service.bounces.taking_in import BounceReport, take_in_bounces, take_in_letter
from service.cli import main
from service.digests import compose_waiting
from service.due import When
from service.settings import Settings
from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.outbox import add_digest, add_message, fetch_messages, mark_delivered
from service.store.undelivered import fetch_suspensions
from tests.outbox_messages import make_mail
from tests.planted import plant_recipient
from tests.processes import wait_until
from tests.serving import serving_here

AT = datetime(2026, 3, 2, 12, tzinfo=UTC)
MESSAGE_ID = "<20260302.1@alder.example>"

# by hand: the form of the examples in [RFC-3464], appendix E, with invented names
REPORT = """\
Date: Mon, 2 Mar 2026 12:05:49 +0000
From: Mail Delivery Subsystem <mailer-daemon@mail.alder.example>
To: dig@alder.example
Subject: Returned mail
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="RAA14128.773615765"

--RAA14128.773615765

The following address had delivery problems: <{address}>

--RAA14128.773615765
content-type: message/delivery-status

Reporting-MTA: dns; mail.alder.example
Arrival-Date: Mon, 2 Mar 2026 12:00:10 +0000

{fields}

--RAA14128.773615765
content-type: {original}

Message-ID: {message_id}
Subject: Terrace 7: dig

--RAA14128.773615765--
"""
FIELDS = """\
Original-Recipient: rfc822;{address}
Final-Recipient: rfc822; {address}
Action: {action}
Status: {status}
Diagnostic-Code: smtp; {said}"""


def make_report(
    *,
    address: str = "ada@example.org",
    action: str = "failed",
    status: str = "5.1.1",
    said: str = "550 5.1.1 <ada@example.org>:\n  no such user",
    message_id: str = MESSAGE_ID,
    original: str = "text/rfc822-headers",
) -> bytes:
    fields = FIELDS.format(address=address, action=action, status=status, said=said)
    return REPORT.format(
        address=address, fields=fields, message_id=message_id, original=original
    ).encode()


@pytest.fixture
def store(sqlite_template: Path, tmp_path: Path) -> Iterator[Engine]:
    """A store from which a mail to Ada went out, with a coordinator."""
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_template, tmp_path)}")
    plant_mail(engine)
    yield engine
    engine.dispose()


def plant_mail(engine: Engine) -> None:
    with writing(engine) as connection:
        connection.execute(insert(tables.organisation).values(id=1, name="Alder Bench Growers"))
        for name in ("Ada", "Cora"):
            plant_recipient(connection, name)
        cora = tables.recipient.c.name == "Cora"
        connection.execute(tables.recipient.update().where(cora).values(role="coordinator"))
        digest, mail = add_digest(connection, "Ada", AT), make_mail()
        add_message(connection, digest, "mail", mail.address, MESSAGE_ID, mail.message, AT)
        mark_delivered(connection, 1, AT, "250 OK")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "back"
    made.mkdir()
    return made


def take_in(store: Engine, place: Path) -> BounceReport:
    return take_in_bounces(store, Settings(data=place.parent, bounces=place), AT)


def stands(store: Engine) -> tuple[str | None, str | None, int]:
    """Return how the mail ended, what is said of it, and how many addresses are suspended."""
    with reading(store) as connection:
        (row,) = fetch_messages(connection, [1])
        return row.ended, row.failure, len(fetch_suspensions(connection))


@pytest.mark.parametrize(
    ("report", "ended", "suspended"),
    [
        # source: [RFC-3464] 2.3.3 for the actions, [RFC-3463] for the codes, from memory
        pytest.param(make_report(), "bounced", 1, id="no such mailbox"),
        pytest.param(make_report(original="message/rfc822"), "bounced", 1, id="with the mail"),
        pytest.param(
            make_report(status="5.0.0", said="550 5.1.1 unknown"), "bounced", 1, id="5.0.0"
        ),
        pytest.param(make_report(status="", said="550 unknown"), "bounced", 1, id="no status"),
        pytest.param(make_report(status="5.2.2", said="552 full"), "bounced", 0, id="mailbox full"),
        pytest.param(make_report(status="5.7.1", said="550 spam"), "bounced", 0, id="policy"),
        pytest.param(make_report(status="4.4.7", said="expired"), "bounced", 0, id="expired"),
        pytest.param(make_report(address="ada@elsewhere.example"), "bounced", 0, id="led on"),
        pytest.param(make_report(address="ADA@Example.org"), "bounced", 1, id="capitals"),
        pytest.param(make_report(action="delayed", status="4.4.1"), None, 0, id="late"),
        pytest.param(make_report(action="relayed", status="2.0.0"), None, 0, id="relayed"),
    ],
)
def test_what_a_report_does(
    store: Engine, folder: Path, report: bytes, ended: str | None, suspended: int
) -> None:
    (folder / "1.eml").write_bytes(report)
    take_in(store, folder)
    assert (stands(store)[0], stands(store)[2]) == (ended, suspended)
    assert [path.name for path in (folder / "done").iterdir()] == ["1.eml"]


def test_a_late_mail_is_noted(store: Engine, folder: Path) -> None:
    late = make_report(action="delayed", status="4.4.1", said="no answer\x1b[2J from host")
    (folder / "1.eml").write_bytes(late)
    assert take_in(store, folder).late == [
        "message 1 to Ada, ada@example.org: no answer[2J from host"
    ]
    assert stands(store)[1] == "late: no answer[2J from host"


def as_eml(folder: Path, letters: list[bytes]) -> None:
    for number, letter in enumerate(letters):
        (folder / f"{number}.eml").write_bytes(letter)


def as_maildir(folder: Path, letters: list[bytes]) -> None:
    folder.rmdir()
    box = mailbox.Maildir(folder)
    for letter in letters:
        box.add(letter)


def as_mbox(folder: Path, letters: list[bytes]) -> None:
    folder.rmdir()
    box = mailbox.mbox(folder)
    for letter in letters:
        box.add(letter)
    box.close()


@pytest.mark.parametrize("keep", [as_eml, as_maildir, as_mbox])
def test_a_report_is_taken_in_once_from_any_folder_and_other_letters_stay(
    store: Engine, folder: Path, keep: Callable[[Path, list[bytes]], None]
) -> None:
    letter = make_mail().message.encode()
    keep(folder, [letter, make_report(), make_report(message_id="<1@other.example>")])
    first, second = take_in(store, folder), take_in(store, folder)
    assert first.failed == [
        "message 1 to Ada, ada@example.org: 550 5.1.1 <ada@example.org>: no such user"
    ]
    assert (first.unknown, first.others) == (1, 1)
    assert second == BounceReport(others=1)


def test_a_report_that_is_read_again_after_a_crash_tells_no_one_twice(
    store: Engine, folder: Path
) -> None:
    for _ in range(2):  # the process died before it could mark the letter
        (folder / "1.eml").write_bytes(make_report())
        take_in(store, folder)
    with writing(store) as connection:
        composed = compose_waiting(connection, Settings(data=Path()), When(AT, None, False))
        message = fetch_messages(connection)[-1].message
    assert composed == 1
    assert "Subject: Not delivered: mail to Ada" in message
    assert "came back: 550 5.1.1 <ada@example.org>: no such user" in " ".join(message.split())


@pytest.mark.parametrize("store_url", ["postgresql"], indirect=True)  # which lets both write
def test_a_report_that_two_processes_read_at_once_is_told_once(engine: Engine) -> None:
    plant_mail(engine)
    report, taken = make_report(status="5.2.2"), (BounceReport(), BounceReport())
    waits = text("select count(*) from pg_locks where not granted")
    with ThreadPoolExecutor(2) as beside:
        with writing(engine) as connection:
            connection.execute(select(tables.outbox.c.id).with_for_update())
            said = [beside.submit(take_in_letter, engine, report, AT, one) for one in taken]
            wait_until(lambda: connection.scalar(waits) == 2)
        assert [one.result() for one in said] == [True, True]
    with reading(engine) as connection:
        told = connection.scalar(select(func.count()).select_from(tables.undelivered))
    assert (sorted(len(one.failed) for one in taken), told) == ([0, 1], 1)


def test_nothing_where_nothing_lies_and_a_word_where_it_cannot_be_read(
    store: Engine, tmp_path: Path
) -> None:
    assert take_in(store, tmp_path / "nowhere") == BounceReport()
    (tmp_path / "new").mkdir()
    (tmp_path / "cur").mkdir()
    (tmp_path / "new" / "1").write_bytes(make_report())
    (tmp_path / "cur" / "1:2,S").mkdir()
    trouble = take_in(store, tmp_path).trouble
    assert trouble is not None
    assert "let Digseason read and write there" in trouble


def test_the_command_says_what_came_back(store: Engine, folder: Path) -> None:
    words = ["--data", str(folder.parent), "outbox", "bounces"]
    unset = CliRunner().invoke(main, words)
    env = {"DIGSEASON_BOUNCES": str(folder)}
    empty = CliRunner().invoke(main, words, env=env)
    (folder / "1.eml").write_bytes(make_report())
    told = CliRunner().invoke(main, words, env=env)
    assert (unset.exit_code, empty.exit_code, told.exit_code) == (2, 0, 1)
    assert told.stdout.splitlines()[0] == "1 message came back"
    assert "came back: message 1 to Ada, ada@example.org" in told.stdout
    assert stands(store)[0] == "bounced"


def test_what_is_no_report_is_none() -> None:
    assert read_report(make_mail().message.encode()) is None
    assert read_report(REPORT.replace("report;", "mixed;").encode()) is None
    assert read_report(b"") is None


@given(st.data())
def test_no_letter_breaks_the_reader(data: st.DataObject) -> None:
    letter = bytearray(make_report(original=data.draw(st.sampled_from(["message/rfc822", "x"]))))
    for _ in range(data.draw(st.integers(0, 6))):
        place = data.draw(st.integers(0, len(letter) - 1))
        letter[place : place + data.draw(st.integers(0, 40))] = data.draw(st.binary(max_size=9))
    found = read_report(bytes(letter))
    assert found is None or all(one.said.isprintable() for one in found)


def test_a_mail_server_brings_a_report_that_is_signed(store: Engine, tmp_path: Path) -> None:
    key = "a secret that both share"
    settings = Settings(data=tmp_path, bounces_secret=key)  # type: ignore[arg-type]

    def bring(body: bytes, secret: str = key, form: str = "message/rfc822") -> requests.Response:
        # source: [RFC-2104] by the hmac module of Python
        mac = hmac.new(secret.encode(), body, "sha256").hexdigest()
        headers = {"X-Digseason-Signature": f"sha256={mac}", "Content-Type": form}
        return requests.post(f"{here}/api/bounces", body, headers=headers, timeout=5)

    with serving_here(store, settings) as here:
        assert bring(make_report(), "another").status_code == 401
        assert bring(make_report(), form="text/plain").status_code == 415
        assert bring(make_mail().message.encode()).status_code == 422
        assert stands(store)[0] is None
        assert bring(make_report()).json() == {"failed": 1, "late": 0, "unknown": 0}
        assert stands(store)[0] == "bounced"
        assert bring(make_report(message_id="<1@other.example>")).json()["unknown"] == 1
    with serving_here(store, Settings(data=tmp_path)) as here:
        assert bring(make_report()).status_code == 404
