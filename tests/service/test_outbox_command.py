"""digseason outbox, and digseason send-test: what happened to messages, in words."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme
from click.testing import CliRunner, Result

from service.cli import main
from service.store.channel_troubles import ChannelTrouble, fetch_troubles, keep_trouble
from service.store.engine import open_engine, reading, writing
from service.store.outbox import add_digest, add_message, end_message
from service.store.undelivered import add_undelivered
from tests.http_server import Reply, http_server
from tests.outbox_messages import make_mail
from tests.planted import plant_recipient
from tests.smtp_server import HANG, PASSWORD, SmtpServer, login_env, smtp_server, trust

AT = datetime(2026, 3, 2, 12, tzinfo=UTC)
REFUSAL = "mail.example.org:587 answers: 550 5.1.1 no such user in this house, nor in the next one"
Env = dict[str, str]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SmtpServer]:
    authority = trustme.CA()
    with pytest.MonkeyPatch.context() as patch, smtp_server(authority) as running:
        for name, value in trust(authority, tmp_path_factory.mktemp("authority")).items():
            patch.setenv(name, value)
        yield running


@pytest.fixture
def env(server: SmtpServer) -> Env:
    server.reset()
    return {f"DIGSEASON_{name}".upper(): str(value) for name, value in login_env(server).items()}


@pytest.fixture
def data(sqlite_template: Path, tmp_path: Path) -> Path:
    """A store in which Ada's mail waits, Ben's was refused and another to him is held."""
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_template, tmp_path)}")
    with writing(engine) as connection:
        for number, name in enumerate(("Ada", "Ben", "Ben"), 1):
            if number < 3:
                plant_recipient(connection, name)
            mail = make_mail(f"{name.lower()}@example.org")
            made = (f"<{number}@alder.example>", mail.message, AT)
            add_message(connection, add_digest(connection, name, AT), "mail", mail.address, *made)
        end_message(connection, 2, "refused", REFUSAL, AT)
        add_undelivered(connection, "Ben", "mail", "ben@example.org", REFUSAL, AT, True, 2)
    engine.dispose()
    return tmp_path


def run(data: Path, *words: str, env: Env | None = None) -> Result:
    result = CliRunner().invoke(main, ["--data", str(data), *words], env=env or {})
    assert max(map(len, result.stdout.splitlines()), default=0) <= 80 or "--" in str(words)
    return result


def states(data: Path) -> dict[int, str]:
    listed = json.loads(run(data, "outbox", "--all", "--json").stdout)
    return {one["number"]: one["state"] for one in listed}


def test_the_list_says_how_each_message_stands_and_why(data: Path) -> None:
    lines = run(data, "outbox").stdout.splitlines()
    text = " ".join(" ".join(lines).split())
    assert "and reach no one" in text
    assert "1 mail Ada, ada@example.org: waits" in text
    assert f"2 mail Ben, ben@example.org: refused {REFUSAL}" in text
    assert "3 mail Ben, ben@example.org: held" in text
    assert "suspended since 2026-03-02: mail to Ben, ben@example.org" in text


def test_the_list_as_csv_has_what_the_json_has(data: Path) -> None:
    as_json = json.loads(run(data, "outbox", "--json").stdout)
    as_csv = list(csv.DictReader(io.StringIO(run(data, "outbox", "--csv").stdout)))
    assert [{k: "" if v is None else str(v) for k, v in one.items()} for one in as_json] == as_csv
    assert as_json[1]["failure"] == REFUSAL


def test_a_message_is_shown_whole(data: Path) -> None:
    shown = run(data, "outbox", "show", "2").stdout
    assert "state: refused" in shown
    assert "message id: <2@alder.example>" in shown
    assert "Subject: Terrace 7: dig" in shown
    assert run(data, "outbox", "show", "9").exit_code == 2


def test_a_suspended_address_is_resumed_and_its_messages_go_out(data: Path, env: Env) -> None:
    refused = run(data, "outbox", "retry", "2")
    assert refused.exit_code == 2
    assert "first say `digseason outbox resume ben@example.org`" in refused.stderr
    assert run(data, "outbox", "resume", "cai@example.org", "--by", "Cora").exit_code == 2
    assert run(data, "outbox", "resume", "ben@example.org", "--by", "Cora").exit_code == 0
    assert run(data, "outbox", "retry", "2").exit_code == 0
    sent = run(data, "outbox", "send", env=env)
    assert sent.stdout.splitlines()[:2] == ["3 messages delivered", "  3 sent by mail"]
    assert states(data) == dict.fromkeys((1, 2, 3), "delivered")
    again = run(data, "outbox", "retry", "1")
    assert "it was delivered at" in again.stderr


def test_a_message_is_dropped_with_a_name_and_a_reason(data: Path) -> None:
    assert run(data, "outbox", "drop", "1", "--by", "Cora").exit_code == 2
    run(data, "outbox", "drop", "1", "--by", "Cora", "--why", "told her by phone")
    assert states(data)[1] == "dropped"
    assert "Cora: told her by phone" in run(data, "outbox").stdout
    again = run(data, "outbox", "drop", "1", "--by", "Cora", "--why", "twice")
    assert "it does not wait, it is dropped" in again.stderr
    run(data, "outbox", "retry", "1")
    assert states(data)[1] == "waits"


def test_what_is_not_taken_is_told_and_ends_with_1(
    data: Path, server: SmtpServer, env: Env
) -> None:
    server.say(RCPT="450 4.2.0 greylisted")
    later = run(data, "outbox", "send", env=env)
    assert later.exit_code == 1
    assert "tried again later: 127.0.0.1" in " ".join(later.stdout.split())
    assert states(data)[1] == "later"
    run(data, "outbox", "retry", "1")
    server.say(greeting="421 4.3.2 closed")
    down = run(data, "outbox", "send", env=env)
    assert down.exit_code == 1
    assert "no mail for now, all that waits is kept" in down.stdout
    assert "no mail since" in run(data, "outbox").stdout


def test_a_test_mail_is_sent_and_its_way_told(data: Path, server: SmtpServer, env: Env) -> None:
    engine = open_engine(f"sqlite:///{data / 'digseason.db'}")
    with writing(engine) as connection:
        keep_trouble(connection, ChannelTrouble("mail", AT, 3, AT + timedelta(days=9), "no"))
    told = run(data, "send-test", "--to", "cai@example.org", env=env)
    text = " ".join(told.stdout.split())
    (taken,) = server.taken
    assert (told.exit_code, taken.to) == (0, "cai@example.org")
    assert taken.mail["Subject"] == "A test of Digseason"
    assert "encrypted by TLSv1.3, its certificate is valid, logged in as dig@alder.example" in text
    assert "taken: 250 2.0.0 OK: queued as 4F1A" in text
    with reading(engine) as connection:
        assert fetch_troubles(connection) == {}  # so the next tick sends what waits
    engine.dispose()


@pytest.mark.parametrize(
    ("changes", "act", "said"),
    [
        ({"SMTP_PASSWORD": "wrong"}, {}, "refuses the login of dig@alder.example (535"),
        ({"SMTP_HOST": "localhost"}, {}, "a certificate that is not valid"),
        ({"SMTP_SECURITY": "tls"}, {}, "try DIGSEASON_SMTP_SECURITY=starttls"),
        ({}, {"greeting": HANG}, "does not answer within 0.5 s"),
        ({}, {"RCPT": "550 5.1.1 no such user"}, "550 5.1.1 no such user"),
    ],
)
def test_a_test_mail_that_fails_says_what_to_do(
    data: Path, server: SmtpServer, env: Env, changes: Env, act: Env, said: str
) -> None:
    server.say(**act)
    env |= {f"DIGSEASON_{name}": value for name, value in changes.items()}
    told = run(data, "send-test", "--to", "cai@example.org", env=env)
    assert told.exit_code == 1
    assert f"not taken: {env['DIGSEASON_SMTP_HOST']}" in told.stdout
    assert said in " ".join(told.stdout.split())
    assert PASSWORD not in told.stdout


def test_a_test_text_goes_by_the_gateway(data: Path) -> None:
    with http_server(lambda _: Reply(b'{"id": 7}')) as gateway:
        env = {
            "DIGSEASON_SMS_URL": gateway.address,
            "DIGSEASON_SMS_BODY": '["{to}", "{text}"]',
            "DIGSEASON_SMS_ID": "id",
        }
        told = run(data, "send-test", "--to", "+61491570156", env=env)
        (asked,) = gateway.asked
    assert json.loads(asked.body) == [
        "+61491570156",
        "This is a test: messages from Digseason reach you here. Nothing is to be done.",
    ]
    assert "taken: 127.0.0.1 calls it 7" in told.stdout


def test_a_reader_is_sent_a_test_wherever_they_are_told(
    data: Path, server: SmtpServer, env: Env
) -> None:
    assert run(data, "send-test", "--recipient", "Ben", env=env).exit_code == 0
    assert [taken.to for taken in server.taken] == ["ben@example.org"]
    unknown = run(data, "send-test", "--recipient", "Bob", env=env)
    assert "there is no reader 'Bob'; known: Ada, Ben" in unknown.stderr


@pytest.mark.parametrize("words", [(), ("--to", "ada"), ("--to", "a..b@example.org")])
def test_a_test_to_no_address_is_wrong_use(data: Path, words: tuple[str, ...]) -> None:
    assert run(data, "send-test", *words).exit_code == 2
