"""A digest as a mail is read back by the standard library as it was meant."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.digest import Digest
from alerts.mail import compose_mail

SENDER = "Alder Bench Growers <dig@alder.example>"
SENT_AT = datetime(2025, 10, 5, 6, 30, tzinfo=UTC)
MESSAGE_ID = "<20251005.1@alder.example>"
DIGEST = Digest(
    "Terraza 7: abierta la temporada de revisar raíces",
    "La zona de raíces está a 18,1 °C.\n\n.\nFrom here on, dig.\n",
)
HEADERS = {
    *("From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted", "List-Id"),
    *("Content-Type", "Content-Transfer-Encoding", "MIME-Version"),
}


def compose(digest: Digest = DIGEST, **changes: object) -> bytes:
    arguments = {"sender": SENDER, "to": "grower@alder.example", "sent_at": SENT_AT}
    return compose_mail(digest, **{**arguments, "message_id": MESSAGE_ID, **changes})  # type: ignore[arg-type]


def read(mail: bytes) -> EmailMessage:
    return message_from_bytes(mail, policy=default)  # type: ignore[return-value]


def test_a_mail_has_the_headers_that_a_message_needs() -> None:
    mail = read(compose(to="Ana Núñez <ana@alder.example>"))
    assert set(mail.keys()) == HEADERS  # source: [RFC-5322], [RFC-3834], [RFC-2919], MIME
    assert mail["Date"].datetime == SENT_AT
    assert mail["Message-ID"] == MESSAGE_ID
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["List-Id"] == "<digests.alder.example>"
    assert mail["From"] == SENDER
    assert mail["To"].addresses[0].display_name == "Ana Núñez"


def test_a_mail_is_plain_text_and_keeps_subject_and_text() -> None:
    mail = read(compose())
    assert mail.get_content_type() == "text/plain"
    assert mail.get_content_charset() == "utf-8"
    assert mail["Subject"] == DIGEST.subject
    assert mail.get_content().replace("\r\n", "\n") == DIGEST.text


def test_a_mail_is_ascii_in_short_lines_that_end_in_cr_lf() -> None:
    mail = compose(Digest("Terraza " * 40, "raíces " * 300))
    lines = mail.split(b"\r\n")
    assert max(map(len, lines)) <= 78  # source: [RFC-5322], from memory
    assert re.search(rb"(?<!\r)\n|\r(?!\n)", mail) is None
    assert mail.isascii()


@settings(deadline=None)
@given(st.text(), st.text(min_size=1))
def test_no_subject_or_text_adds_a_header(subject: str, text: str) -> None:
    mail = read(compose(Digest(f"Terrace {subject}\r\nBcc: all@alder.example", text)))
    assert set(mail.keys()) == HEADERS
    assert [address.addr_spec for address in mail["To"].addresses] == ["grower@alder.example"]


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"to": "a@alder.example, b@alder.example"}, id="two recipients"),
        pytest.param({"to": "a@alder.example\r\nBcc: b@alder.example"}, id="line break"),
        pytest.param({"to": "no address"}, id="no address"),
        pytest.param({"to": ""}, id="nobody"),
        pytest.param({"to": "añá@alder.example"}, id="letters that not every server takes"),
        pytest.param({"to": "a@ñandú.example"}, id="domain by its other name"),
        pytest.param({"to": "a..b@alder.example"}, id="two dots"),
        pytest.param({"to": "a@-alder.example"}, id="no domain"),
        pytest.param({"to": "a@"}, id="no domain at all"),
        pytest.param({"to": f"{'a' * 65}@alder.example"}, id="longer than [RFC-5321] has it"),
        pytest.param({"to": "all: a@alder.example;"}, id="a group"),
        pytest.param({"sender": "a@alder.example\nX: y"}, id="line break in the sender"),
        pytest.param({"message_id": "<1@alder.example>\nX: y"}, id="line break in the id"),
        pytest.param({"sent_at": datetime(2025, 10, 5, 6, 30)}, id="naive"),  # noqa: DTZ001
    ],
)
def test_what_is_no_single_address_or_would_add_a_header_is_refused(
    changes: dict[str, object],
) -> None:
    with pytest.raises(
        ValueError, match=r"not one mail address|not every|another name|linefeed|naive"
    ):
        compose(**changes)
