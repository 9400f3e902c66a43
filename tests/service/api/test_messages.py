"""Messages over the API: what one is told next, was sent; what waits or is held, decided on."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine, insert, select, update

from alerts.mail import compose_text_mail
from service.store import tables
from service.store.engine import reading, writing
from service.store.holds import hold_sending
from service.store.notices import store_notices
from service.store.outbox import add_digest, add_message
from tests.notices import OPENED
from tests.planted import plant_recipient
from tests.service.api.conftest import Ask, Send

AT = datetime(2026, 3, 2, 9, tzinfo=UTC)
MESSAGES = "/api/notices/messages"


@pytest.fixture(scope="module", autouse=True)
def told(engine: Engine, tokens: dict[str, str]) -> None:
    """Ada was sent a mail and waits for a text, Ben for a text; that Ada's block opened waits."""
    assert tokens  # with them the accounts are there
    day = datetime.now(UTC).date() - timedelta(days=3)
    days = {"opened_on": day, "not_before": day, "mean_on": day, "season": day.year}
    with writing(engine) as connection:
        for name in ("Ada Example", "Ben Example"):
            plant_recipient(connection, name, ("mail", "sms"))
        connection.execute(update(tables.recipient).values(all_blocks=False))
        of = {"recipient_name": "Ada Example", "block_id": "terrace-7"}
        connection.execute(insert(tables.recipient_block), of)
        of_ada = tables.account.c.email == "ada@example.org"
        named = {"recipient_name": "Ada Example"}
        connection.execute(update(tables.account).where(of_ada).values(named))
        of_ada, of_ben = (add_digest(connection, f"{one} Example", AT) for one in ("Ada", "Ben"))
        mail = compose_text_mail("Boots on.", "d@example.org", "ada@example.org", AT, "<1@x>")
        sent = of_ada, "mail", "ada@example.org", "<1@x>", mail.decode(), AT
        add_message(connection, *sent)
        add_message(connection, of_ada, "sms", "+15550100", "<2@x>", "Open {now}", AT)
        add_message(connection, of_ben, "sms", "+15550101", "<3@x>", "Open", AT)
        of_mail = tables.outbox.c.message_id == "<1@x>"
        connection.execute(update(tables.outbox).where(of_mail).values(delivered_at=AT))
        connection.execute(insert(tables.round_), {"id": 1, "started_at": AT})
        ends_by = day + timedelta(days=42)
        store_notices(connection, 1, [replace(OPENED, **days, ends_by=ends_by)])


def test_one_reads_ones_own_messages_the_latest_first(ask: Ask) -> None:
    own = [(one["number"], one["state"]) for one in ask(MESSAGES, "ada").json()]
    assert own == [(2, "waits"), (1, "delivered")]
    assert ask(MESSAGES, "rea").json() == []
    every = [one["number"] for one in ask(MESSAGES).json()]
    of_ben = [one["number"] for one in ask(MESSAGES, of="Ben Example").json()]
    assert (every, of_ben) == ([3, 2, 1], [3])
    first = ask(MESSAGES, "ada", limit=1)
    assert ([one["number"] for one in first.json()], "next" in first.links) == ([2], True)


def test_a_message_says_what_was_sent_to_who_may_read_it(ask: Ask) -> None:
    mail = ask(f"{MESSAGES}/1", "ada").json()
    assert (mail["channel"], mail["text"].strip(), mail["parts"]) == ("mail", "Boots on.", None)
    text = ask(f"{MESSAGES}/2", "ada").json()
    # source: [3GPP-23.038]: a brace takes two septets, and all of it one part
    assert (text["text"], text["parts"], text["subject"]) == ("Open {now}", 1, None)
    assert [ask(f"{MESSAGES}/3", who).status_code for who in ("ada", "cora", "root")] == [
        *(404, 404, 200),
    ]


def test_what_one_is_told_next_comes_as_mail_and_as_text(ask: Ask) -> None:
    found = ask("/api/notices/next", "ada").json()
    assert "dig season is open" in found["subject"]
    assert found["text"].startswith(f"{found['subject']}.")
    assert (found["parts"], "Terrace 7" in found["sms"]) == (1, True)
    assert ask("/api/notices/next", of="Ada Example").json() == found
    assert "text/html" in ask("/api/notices/next/mail", "ada").headers["Content-Type"]
    assert [ask("/api/notices/next", who).status_code for who in ("rea", "root")] == [404] * 2
    as_another = ask("/api/notices/next", "rea", of="Ada Example")
    assert as_another.status_code == 404


def test_an_administrator_drops_what_waits_and_lets_it_be_sent_again(ask: Ask, send: Send) -> None:
    there, why = f"{MESSAGES}/3", {"why": "told by phone"}
    assert [send(f"{there}/drop", who, why).status_code for who in ("ada", "cora")] == [403] * 2
    assert send(f"{there}/drop", "root", {"why": " "}).status_code == 422
    answers = [send(f"{there}/drop", "root", why).status_code for _ in range(2)]
    assert answers == [204, 409]  # it waits no more
    dropped = ask(there).json()
    told = dropped["state"], dropped["failure"], dropped["ended_by"]
    assert told == ("dropped", "told by phone", "root@example.org")
    assert send(f"{there}/again", "root", None).status_code == 204
    assert ask(there).json()["state"] == "waits"
    assert send(f"{MESSAGES}/1/again", "root", None).status_code == 409  # it was delivered
    deeds = [(one["what"], one["about"]) for one in ask("/api/deeds", limit=2).json()]
    assert deeds == [
        ("let a message be sent again", "3, Ben Example"),
        ("dropped a message", "3, Ben Example: told by phone"),
    ]


def test_nothing_is_let_go_where_nothing_is_held_back(ask: Ask, send: Send) -> None:
    assert ask("/api/notices/hold").json() == {"since": None, "why": None}
    assert send("/api/notices/hold/release", "root", None).status_code == 409


@pytest.mark.parametrize(("deed", "end"), [("release", None), ("drop", "dropped")])
def test_what_is_held_back_goes_or_is_dropped_by_an_administrator(
    engine: Engine, ask: Ask, send: Send, deed: str, end: str | None
) -> None:
    with writing(engine) as connection:
        hold_sending(connection, "restored from a backup", AT)
    held = {"since": "2026-03-02T09:00:00Z", "why": "restored from a backup"}
    assert ask("/api/notices/hold").json() == held
    assert ask("/api/notices/hold", "cora").status_code == 403
    assert send(f"/api/notices/hold/{deed}", "cora", None).status_code == 403
    assert send(f"/api/notices/hold/{deed}", "root", None).json() == {"messages": 2}
    assert ask("/api/notices/hold").json()["since"] is None
    with reading(engine) as connection:
        query = select(tables.outbox.c.ended).order_by(tables.outbox.c.id)
        assert connection.scalars(query).all() == [None, end, end]
