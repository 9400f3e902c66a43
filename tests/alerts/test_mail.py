"""A digest as a mail is read back by the standard library as it was meant."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.letter import Letter, Part
from alerts.letter_html import write_html
from alerts.mail import compose_mail
from tests.mails import read_mail

SENDER = "Alder Bench Growers <dig@alder.example>"
SENT_AT = datetime(2025, 10, 5, 6, 30, tzinfo=UTC)
MESSAGE_ID = "<20251005.1@alder.example>"


def make_letter(subject: str, text: str) -> Letter:
    return Letter(subject, "es", (Part(paragraphs=(text,)),), "Para Ana.")


LETTER = make_letter(
    "Terraza 7: abierta la temporada de revisar raíces",
    "La zona de raíces está a 18,1 °C. . From here on, dig.",
)
HEADERS = {
    *("From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted", "List-Id"),
    *("Content-Type", "MIME-Version"),
}


def compose(letter: Letter = LETTER, **changes: Any) -> bytes:
    arguments = {"sender": SENDER, "to": "grower@alder.example", "sent_at": SENT_AT}
    return compose_mail(letter, **{**arguments, "message_id": MESSAGE_ID, **changes})


def test_a_mail_has_the_headers_that_a_message_needs() -> None:
    mail = read_mail(compose(to="Ana Núñez <ana@alder.example>"))
    assert set(mail.keys()) == HEADERS  # source: [RFC-5322], [RFC-3834], [RFC-2919], MIME
    assert mail["Date"].datetime == SENT_AT
    assert mail["Message-ID"] == MESSAGE_ID
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["List-Id"] == "<digests.alder.example>"
    assert mail["From"] == SENDER
    assert mail["To"].addresses[0].display_name == "Ana Núñez"


def test_a_mail_is_plain_text_and_html_and_keeps_subject_and_both() -> None:
    mail = read_mail(compose())
    assert mail.get_content_type() == "multipart/alternative"
    assert mail["Subject"] == LETTER.subject
    # source: [RFC-2046] 5.1.4, the plainest first
    forms = [
        (part.get_content_type(), part.get_content_charset(), part.get_content())
        for part in mail.iter_parts()
    ]
    assert [(*kind, text.replace("\r\n", "\n")) for *kind, text in forms] == [
        ("text/plain", "utf-8", LETTER.text),
        ("text/html", "utf-8", write_html(LETTER) + "\n"),
    ]


def test_no_text_ends_a_part_of_a_mail() -> None:
    between = f"--{read_mail(compose()).get_boundary()}"
    letter = make_letter("Terrace 7", f"{between}--")
    mail = read_mail(compose(letter))
    plain, html = mail.iter_parts()
    # source: [RFC-2045] 6.7, "=_" is nothing that quoted-printable can hold
    assert plain.get_content().replace("\r\n", "\n") == letter.text
    assert f"{between}--" in html.get_content()
    assert mail.defects == []


def test_a_mail_is_ascii_in_short_lines_that_end_in_cr_lf() -> None:
    mail = compose(make_letter("Terraza " * 40, "raíces " * 300))
    lines = mail.split(b"\r\n")
    assert max(map(len, lines)) <= 78  # source: [RFC-5322], from memory
    assert re.search(rb"(?<!\r)\n|\r(?!\n)", mail) is None
    assert mail.isascii()


@given(st.text(), st.text(min_size=1))
def test_no_subject_or_text_adds_a_header(subject: str, text: str) -> None:
    mail = read_mail(compose(make_letter(f"Terrace {subject}\r\nBcc: all@alder.example", text)))
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
    changes: dict[str, Any],
) -> None:
    with pytest.raises(
        ValueError, match=r"not one mail address|not every|another name|linefeed|naive"
    ):
        compose(**changes)
