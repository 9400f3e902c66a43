"""What waits in the outbox goes out once, is tried again where that may help, and is never lost."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from threading import Event

import pytest
from sqlalchemy import Engine, insert, select, update

from service.delivery import MOST_ATTEMPTS, MOST_DOUBTED, DeliveryReport, deliver
from service.digests import compose_waiting
from service.due import When
from service.quiet_hours import find_quiet_end
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.channel_troubles import fetch_troubles
from service.store.engine import reading, writing
from service.store.outbox import LONGEST_WAIT, add_digest, add_message, fetch_messages
from service.store.undelivered import fetch_suspensions
from tests.farms import farm_text, set_up
from tests.http_server import Reply, http_server
from tests.mails import read_mail, text_of
from tests.outbox_messages import make_mail
from tests.planted import plant_block, plant_days, plant_recipient
from tests.smtp_server import DROP, HANG, SmtpServer

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
"""Where the SQL is that of the tests on both."""


@pytest.fixture
def settings(mail_env: dict[str, object], tmp_path: Path) -> Settings:
    return Settings(data=tmp_path, **mail_env)  # type: ignore[arg-type]


@pytest.fixture
def waiting(engine: Engine) -> Engine:
    """A mail to each of three readers, and a coordinator."""
    with writing(engine) as connection:
        connection.execute(insert(tables.organisation).values(id=1, name="Alder Bench Growers"))
        for name, role in (("Ada", "grower"), ("Ben", "grower"), ("Cai", "coordinator")):
            add_reader(connection, name, role)
            add_mail(connection, name)
    return engine


def add_reader(connection, name: str, role: str) -> None:
    row = {
        "name": name,
        "role": role,
        "email": f"{name.lower()}@example.org",
        "phone": None,
        "channels": ["mail"],
        "language": "en",
        "unit": "F",
        "hour": 7,
        "all_blocks": True,
    }
    connection.execute(insert(tables.recipient), row)


def add_mail(connection, name: str) -> None:
    mail = make_mail(f"{name.lower()}@example.org")
    digest = add_digest(connection, name, NOW)
    message_id = mail.message_id.replace(".1@", f".{digest}@")
    add_message(connection, digest, "mail", mail.address, message_id, mail.message, NOW)


def rows(engine: Engine) -> list:
    with reading(engine) as connection:
        return fetch_messages(connection)


def sent(report: DeliveryReport) -> list[str]:
    return [one.message.recipient_name for one in report.sent]


def refuse(server: SmtpServer, name: str, reply: str, stage: str = "RCPT") -> None:
    """Answer so to what is told of one reader."""
    server.script = lambda at, said: reply if at == stage and f"{name.lower()}@" in said else None


def test_each_message_goes_out_once_over_one_connection(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    first, second = deliver(waiting, settings, NOW), deliver(waiting, settings, NOW + DAY)
    assert (sent(first), sent(second)) == (["Ada", "Ben", "Cai"], [])
    assert [taken.to for taken in server.taken] == [
        f"{n}@example.org" for n in ("ada", "ben", "cai")
    ]
    assert server.connections == 1
    assert {row.receipt for row in rows(waiting)} == {"250 2.0.0 OK: queued as 4F1A"}


def test_what_one_host_sends_no_other_takes_whose_clock_is_ahead(
    waiting: Engine, settings: Settings, server: SmtpServer, tmp_path: Path
) -> None:
    settings.smtp_timeout_s = 30
    elsewhere: list[list[str]] = []

    def send_elsewhere(stage: str, _: str) -> None:
        if stage == "DATA":  # longer than any lease
            ahead = deliver(waiting, Settings(data=tmp_path), NOW + timedelta(minutes=10))
            elsewhere.append(sent(ahead))

    server.script = send_elsewhere
    assert (sent(deliver(waiting, settings, NOW)), elsewhere) == (["Ada"], [["Ben", "Cai"]])


@one_database
def test_a_passing_refusal_is_tried_again_later_each_time(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    refuse(server, "Ben", "450 4.2.0 greylisted")
    first = deliver(waiting, settings, NOW)
    waits = []
    at = NOW
    for _ in range(3):
        due = rows(waiting)[1].next_try_at
        waits.append((due - at) / timedelta(minutes=1))
        assert deliver(waiting, settings, due - timedelta(seconds=5)).not_sent == []
        at = due
        deliver(waiting, settings, at)
    server.reset()
    last = deliver(waiting, settings, at + HOUR)
    assert (sent(first), [one.end for one in first.not_sent]) == (["Ada", "Cai"], [None])
    # by hand: 5, 10 and 20 minutes, a quarter off either way
    assert waits[0] == pytest.approx(5, rel=0.26)
    assert waits[1] == pytest.approx(10, rel=0.26)
    assert waits[2] == pytest.approx(20, rel=0.26)
    assert sent(last) == ["Ben"]


@one_database
def test_what_is_refused_for_days_is_given_up_and_told(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    refuse(server, "Ben", "450 4.2.0 greylisted")
    at, tries = NOW, 0
    while rows(waiting)[1].ended is None:
        deliver(waiting, settings, at)
        at = rows(waiting)[1].next_try_at or at
        tries += 1
    assert (tries, rows(waiting)[1].ended) == (MOST_ATTEMPTS, "given up")
    # source: [RFC-5321] 4.5.4.1, give up after four to five days at least, from memory
    assert timedelta(days=3.5) < at - NOW < timedelta(days=6)
    with reading(waiting) as connection:
        assert fetch_suspensions(connection) == {}
    assert "Not delivered: mail to Ben" in told_to_cai(waiting, at)


def told_to_cai(engine: Engine, now: datetime) -> str:
    """Compose what waits to be told, and return what the coordinator is sent."""
    when = When(now, None, at_their_hour=False)
    with writing(engine) as connection:
        settings = Settings(data=Path())
        compose_waiting(connection, settings, when)
        assert compose_waiting(connection, settings, when) == 0
        last = select(tables.outbox.c.message).order_by(tables.outbox.c.id.desc()).limit(1)
        return connection.scalars(last).one()


def test_an_address_that_is_refused_for_good_is_suspended_and_told_once(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    refuse(server, "Ben", "550 5.1.1 no such user")
    with writing(waiting) as connection:
        add_mail(connection, "Ben")
    report = deliver(waiting, settings, NOW)
    assert [one.end for one in report.not_sent] == ["refused"]
    assert sent(report) == ["Ada", "Cai"]
    held = rows(waiting)[3]
    assert (held.is_suspended, held.attempts) == (True, 0)
    mail = told_to_cai(waiting, NOW).encode()
    assert read_mail(mail)["Subject"] == "Not delivered: mail to Ben"
    assert "550 5.1.1 no such user" in text_of(mail)


@one_database
def test_a_message_that_is_refused_for_good_leaves_its_address_alone(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    server.say(DATA="554 5.6.0 what is that")
    deliver(waiting, settings, NOW)
    assert [row.ended for row in rows(waiting)] == ["refused"] * 3
    with reading(waiting) as connection:
        assert fetch_suspensions(connection) == {}


@one_database
@pytest.mark.parametrize("act", [DROP, "554 5.3.2 out of service"])
def test_a_provider_that_is_down_costs_no_message_anything(
    waiting: Engine, settings: Settings, server: SmtpServer, act: str
) -> None:
    server.say(greeting=act)
    for day in range(MOST_ATTEMPTS + 1):
        assert list(deliver(waiting, settings, NOW + day * DAY).troubles) == ["mail"]
    assert [(row.attempts, row.ended, row.leased_until) for row in rows(waiting)] == [
        (0, None, None)
    ] * 3
    server.reset()
    assert sent(deliver(waiting, settings, NOW + 40 * DAY)) == ["Ada", "Ben", "Cai"]
    with reading(waiting) as connection:
        assert fetch_troubles(connection) == {}


@one_database
def test_a_provider_that_is_down_is_left_alone_for_a_while(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    server.say(greeting="421 4.3.2 closed")
    deliver(waiting, settings, NOW, at_once=False)
    with reading(waiting) as connection:
        trouble = fetch_troubles(connection)["mail"]
    early, due = trouble.next_try_at - timedelta(seconds=5), trouble.next_try_at
    asked = server.connections
    deliver(waiting, settings, early, at_once=False)
    assert server.connections == asked
    deliver(waiting, settings, due, at_once=False)
    assert server.connections == asked + 1
    with reading(waiting) as connection:
        again = fetch_troubles(connection)["mail"]
    assert (again.since, again.attempts) == (trouble.since, 2)
    # by hand: one minute, then two, a quarter off either way
    assert (due - trouble.since) / timedelta(minutes=1) == pytest.approx(1, rel=0.3)
    assert (again.next_try_at - due) / timedelta(minutes=1) == pytest.approx(2, rel=0.3)


@one_database
def test_a_gateway_that_asks_for_days_is_left_alone_for_as_long_as_anything_waits(
    engine: Engine, tmp_path: Path
) -> None:
    with writing(engine) as connection:
        add_reader(connection, "Ada", "grower")
        made = add_digest(connection, "Ada", NOW), "sms", "+12025550143", "<1@example.org>", "Dig"
        add_message(connection, *made, NOW)
    with http_server() as gateway:
        gateway.say(Reply(b"", 503, {"Retry-After": f"{5 * 86_400}"}))
        settings = Settings(data=tmp_path, sms_url=gateway.address, sms_body="{to} {text}")
        for late in (timedelta(0), HOUR, LONGEST_WAIT + HOUR):
            deliver(engine, settings, NOW + late, at_once=False)
        assert len(gateway.asked) == 2


@one_database
def test_a_gateway_that_refuses_all_texts_gives_none_of_them_up_and_one_that_refuses_some_goes_on(
    engine: Engine, tmp_path: Path
) -> None:
    readers = [f"Reader {number}" for number in range(MOST_DOUBTED + 2)]
    with writing(engine) as connection:
        for number, name in enumerate(readers):
            add_reader(connection, name, "grower")
            made = add_digest(connection, name, NOW), "sms", f"+1202555014{number}"
            add_message(connection, *made, f"<{number}@example.org>", "Dig", NOW)
    with http_server() as gateway:
        settings = Settings(data=tmp_path, sms_url=gateway.address, sms_body="{to} {text}")
        gateway.say(Reply(b"no field 'to'", 400))
        first = deliver(engine, settings, NOW)
        assert len(gateway.asked) == MOST_DOUBTED
        assert "look at DIGSEASON_SMS_BODY" in first.troubles["sms"]
        with writing(engine) as connection:
            connection.execute(update(tables.outbox).values(attempts=MOST_ATTEMPTS))
        second = deliver(engine, settings, NOW + DAY)
        assert len(gateway.asked) == 2 * MOST_DOUBTED
        assert {row.ended for row in rows(engine)} == {None}
        gateway.answers = lambda asked: Reply(b"", 400 if b"5550140" in asked.body else 200)
        third = deliver(engine, settings, NOW + 2 * DAY)
    assert [sent(report) for report in (first, second, third)] == [[], [], readers[1:]]
    with reading(engine) as connection:
        assert fetch_troubles(connection) == {}


@one_database
def test_a_mail_at_which_the_server_breaks_off_lets_the_others_go_first(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    refuse(server, "Ada", DROP)
    first = deliver(waiting, settings, NOW)
    second = deliver(waiting, settings, NOW + timedelta(minutes=3))
    for day in range(1, MOST_ATTEMPTS + 2):
        deliver(waiting, settings, NOW + day * DAY)
    server.reset()
    last = deliver(waiting, settings, NOW + 60 * DAY)
    assert [sent(report) for report in (first, second, last)] == [[], ["Ben", "Cai"], ["Ada"]]


@one_database
def test_a_mail_that_may_have_been_taken_is_sent_again_with_its_message_id(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    server.say(TAKEN=HANG)
    deliver(waiting, settings, NOW)  # no answer in time: it may have been taken
    ada = rows(waiting)[0]
    server.script = lambda *_: None
    deliver(waiting, settings, ada.next_try_at)
    of_ada = [taken for taken in server.taken if taken.to == "ada@example.org"]
    assert len(of_ada) == 2
    assert len({taken.mail["Message-ID"] for taken in of_ada}) == 1


@one_database
def test_messages_go_out_no_faster_than_the_provider_takes_them(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    settings.smtp_per_min = 300
    begun = datetime.now(UTC)
    deliver(waiting, settings, NOW)
    # by hand: 300 a minute are 0.2 s apart; three mails have two gaps
    assert 0.4 <= (datetime.now(UTC) - begun).total_seconds() < 2
    assert len(server.taken) == 3


@one_database
def test_a_sender_that_is_stopped_puts_back_what_it_has_claimed(
    waiting: Engine, settings: Settings, server: SmtpServer
) -> None:
    settings.smtp_per_min = 1
    stop = Event()
    server.script = lambda *_: stop.set()
    assert sent(deliver(waiting, settings, NOW, stop=stop)) == ["Ada"]
    assert [row.attempts for row in rows(waiting)] == [1, 0, 0]
    assert {row.leased_until for row in rows(waiting)} == {None}


@one_database
def test_an_address_that_no_mail_can_carry_stops_no_round_and_loses_nothing(
    engine: Engine, tmp_path: Path
) -> None:
    settings = Settings(data=tmp_path)
    with writing(engine) as connection:
        plant_block(connection)
        for name in ("Ada", "Ben"):
            plant_recipient(connection, name)
        plant_days(connection, date(2026, 1, 1), [50.0] * 50 + [70.0] * 10)
        of_ben = update(tables.recipient).where(tables.recipient.c.name == "Ben")
        connection.execute(of_ben.values(email="ben@ñandú.example"))
    first = run_round(engine, settings, NOW)
    with reading(engine) as connection:
        ((_, suspension),) = fetch_suspensions(connection).items()
    with writing(engine) as connection:
        connection.execute(of_ben.values(email="ben@xn--and-6ma2c.example"))
    second = run_round(engine, settings, NOW)
    assert sent(first.delivery) == ["Ada"]
    assert suspension.why.startswith("'ben@ñandú.example' mail servers know it by another name")
    assert sent(second.delivery) == ["Ben"]


@one_database
def test_nothing_is_sent_in_quiet_hours_and_it_costs_no_try(
    waiting: Engine, settings: Settings
) -> None:
    with writing(waiting) as connection:  # NOW is 12:00 UTC, and without a block so is their clock
        quiet = {"recipient_name": "Ben", "quiet_from": "21:00", "quiet_until": "13:30"}
        connection.execute(insert(tables.recipient_quiet).values(quiet))
    assert sent(deliver(waiting, settings, NOW)) == ["Ada", "Cai"]
    assert (rows(waiting)[1].next_try_at, rows(waiting)[1].attempts) == (NOW + 1.5 * HOUR, 0)
    assert sent(deliver(waiting, settings, NOW + HOUR)) == []
    assert sent(deliver(waiting, settings, NOW + 1.5 * HOUR)) == ["Ben"]


@one_database
@pytest.mark.parametrize(
    ("quiet", "delivered"),
    [
        pytest.param("", ["Ada"], id="lifted"),
        pytest.param('quiet = ["21:00", "08:00"]', [], id="longer"),
    ],
)
def test_what_waits_for_quiet_hours_heeds_those_of_now(
    engine: Engine, settings: Settings, quiet: str, delivered: list[str]
) -> None:
    def keep(quiet: str) -> None:
        named = 'name = "Ada"'
        text = farm_text(north=True).replace("Ada Example", "Ada")
        set_up(engine, text.replace(named, f"{named}\n{quiet}"))

    keep('quiet = ["21:00", "07:00"]')  # NOW is 04:00 in Los Angeles
    with writing(engine) as connection:
        add_mail(connection, "Ada")
    assert sent(deliver(engine, settings, NOW)) == []
    keep(quiet)
    assert sent(deliver(engine, settings, NOW)) == delivered


# by hand: quiet hours that hold midnight, and others; clocks go on at 02:00 EST on 8 March 2026,
# and from 02:00 EDT on 1 November back to 01:00 EST
@pytest.mark.parametrize(
    ("quiet", "now", "until"),
    [
        (("21:00", "07:00"), "2026-03-02T21:00-05:00", "2026-03-03T07:00-05:00"),
        (("21:00", "07:00"), "2026-03-02T06:59-05:00", "2026-03-02T07:00-05:00"),
        (("21:00", "07:00"), "2026-03-02T07:00-05:00", None),
        (("12:00", "14:00"), "2026-03-02T13:00-05:00", "2026-03-02T14:00-05:00"),
        (("12:00", "14:00"), "2026-03-02T14:00-05:00", None),
        (("21:00", "07:00"), "2026-03-07T22:00-05:00", "2026-03-08T07:00-04:00"),
        (("08:00", "07:59"), "2026-10-31T08:00-04:00", "2026-11-01T07:59-05:00"),
        (("21:00", "01:30"), "2026-11-01T01:10-04:00", "2026-11-01T01:30-04:00"),
        (("21:00", "01:30"), "2026-11-01T01:40-04:00", None),
        (("21:00", "01:30"), "2026-11-01T01:10-05:00", "2026-11-01T01:30-05:00"),
        (("01:20", "06:00"), "2026-11-01T01:40-04:00", "2026-11-01T06:00-05:00"),
    ],
)
def test_quiet_hours_end_by_the_clock_of_the_place(
    quiet: tuple[str, str], now: str, until: str | None
) -> None:
    end = find_quiet_end(quiet, "America/New_York", datetime.fromisoformat(now))
    assert end == (until and datetime.fromisoformat(until))
    # what waits for longer is taken for that of a clock that was ahead
    assert end is None or timedelta(0) < end - datetime.fromisoformat(now) < LONGEST_WAIT
