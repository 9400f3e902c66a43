"""A refusal is about this message, its address, or everything that we send."""

from __future__ import annotations

import pytest

from service.channels.smtp_replies import Stage, Verdict, judge_reply, judge_status


@pytest.mark.parametrize(
    ("status", "verdict"),
    [
        # source: [RFC-3463] 3.2 to 3.8 and [RFC-7505] (5.1.10), from memory
        pytest.param("5.1.1", "address", id="bad mailbox"),
        pytest.param("5.1.2", "address", id="bad host"),
        pytest.param("5.1.3", "address", id="bad syntax"),
        pytest.param("5.1.6", "address", id="moved"),
        pytest.param("5.1.10", "address", id="host takes no mail"),
        pytest.param("5.2.1", "address", id="mailbox disabled"),
        pytest.param("5.4.4", "address", id="no route"),
        pytest.param("5.1.7", "provider", id="sender's syntax"),
        pytest.param("5.1.8", "provider", id="sender's host"),
        pytest.param("5.2.2", "passing", id="mailbox full"),
        pytest.param("5.2.3", "message", id="too long for the mailbox"),
        pytest.param("5.3.4", "message", id="too long for the system"),
        pytest.param("5.6.1", "message", id="media not supported"),
        pytest.param("5.4.7", "passing", id="expired"),
        pytest.param("5.7.1", "passing", id="policy"),
        pytest.param("5.7.26", "passing", id="authentication of the sender"),
        pytest.param("4.2.2", "passing", id="mailbox full for now"),
    ],
)
def test_an_enhanced_status_code(status: str, verdict: Verdict) -> None:
    assert judge_status(status) == verdict


@pytest.mark.parametrize(
    ("stage", "code", "text", "verdict"),
    [
        # source: [RFC-5321] 4.2.2 and 4.2.3, [RFC-7504] (556), from memory
        pytest.param("address", 550, "no such user", "address", id="550 no mailbox"),
        pytest.param("address", 551, "not local", "address", id="551 not local"),
        pytest.param("address", 553, "name not allowed", "address", id="553 name"),
        pytest.param("address", 556, "no mail here", "address", id="556 no mail"),
        pytest.param("address", 552, "mailbox full", "passing", id="552 storage"),
        pytest.param("address", 554, "no", "passing", id="554 no reason"),
        pytest.param("address", 450, "busy", "passing", id="450 busy"),
        pytest.param("content", 550, "no", "passing", id="550 after the content"),
        pytest.param("content", 452, "no room", "passing", id="452 no room"),
        pytest.param("sender", 550, "no", "provider", id="sender refused"),
        pytest.param("sender", 550, "5.1.1 no one", "provider", id="sender's address"),
        pytest.param("sender", 552, "5.3.4 too long", "message", id="too long"),
        pytest.param("address", 421, "4.1.1 bye", "provider", id="421 closes"),
        pytest.param("address", 550, "5.7.1 relaying denied", "passing", id="550 by policy"),
        pytest.param("address", 550, "5.1.1", "address", id="550 with a code alone"),
        # by hand: the code of another server, told in the text, is not this server's
        pytest.param("address", 450, "they said 5.1.1", "passing", id="code amid the text"),
    ],
)
def test_a_reply(stage: Stage, code: int, text: str, verdict: Verdict) -> None:
    assert judge_reply(stage, code, text) == verdict
