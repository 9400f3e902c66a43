"""Texts go out by the gateway that the settings describe, whatever its form."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from service.channels.contract import (
    ChannelDownError,
    PassingSendError,
    PermanentSendError,
    SendError,
)
from service.channels.gateway import GatewayChannel
from service.settings import Settings
from tests.http_server import HttpServer, Reply, http_server
from tests.outbox_messages import make_text

SECRET = "s3cret&more"  # noqa: S105 (invented)
TEXT = 'Río "A&B": 18,1 C; 5 > 4\nlines'
AS_JSON = {
    "sms_headers": json.dumps({"Authorization": "Bearer {secret}"}),
    "sms_body": '{"messages": [{"to": "{to}", "text": "{text}", "ref": "{reference}"}]}',
    "sms_success": "messages[0].status == 'queued'",
    "sms_permanent": "messages[0].error == `21211`",
    "sms_id": "messages[0].id",
}


@pytest.fixture(scope="module")
def running() -> Iterator[HttpServer]:
    with http_server() as server:
        yield server


@pytest.fixture
def gateway(running: HttpServer) -> HttpServer:
    running.asked.clear()
    running.say(Reply(b"{}"))
    return running


def send(gateway: HttpServer, **settings: object) -> str:
    """Send a text by a gateway that is described so."""
    told = {"sms_url": f"{gateway.address}/send", "sms_secret": SECRET, "sms_timeout_s": 0.4}
    channel = GatewayChannel(Settings(data=Path(), **{**told, **settings}))  # type: ignore[arg-type]
    try:
        return channel.send(make_text(text=TEXT))
    finally:
        channel.close()


def fail(gateway: HttpServer, *replies: Reply, **settings: object) -> SendError:
    gateway.say(*replies)
    with pytest.raises(SendError) as raised:
        send(gateway, **{**AS_JSON, **settings})
    assert SECRET not in str(raised.value)
    return raised.value


def test_a_gateway_that_speaks_json(gateway: HttpServer) -> None:
    gateway.say(Reply(b'{"messages": [{"status": "queued", "id": "m-77"}]}', 202))
    receipt = send(gateway, **AS_JSON)
    (asked,) = gateway.asked
    assert receipt == "127.0.0.1 calls it m-77"
    assert json.loads(asked.body) == {
        "messages": [{"to": "+61491570156", "text": TEXT, "ref": "2@alder.example"}]
    }
    assert asked.headers["Content-Type"] == "application/json"
    assert asked.headers["Authorization"] == f"Bearer {SECRET}"


def test_a_gateway_that_takes_a_form_and_answers_plain_text(gateway: HttpServer) -> None:
    gateway.say(Reply(b"OK: 105\n"))
    receipt = send(
        gateway,
        sms_body="key={secret}&from={sender}&to={digits}&text={text}",
        sms_sender="AlderBench",
        sms_success="/^OK/",
        sms_id=r"/^OK: (\d+)/",
    )
    (asked,) = gateway.asked
    assert receipt == "127.0.0.1 calls it 105"
    assert asked.headers["Content-Type"] == "application/x-www-form-urlencoded"
    assert parse_qs(asked.body.decode()) == {
        "key": [SECRET],
        "from": ["AlderBench"],
        "to": ["61491570156"],
        "text": [TEXT],
    }


def test_a_gateway_that_takes_all_in_its_address(gateway: HttpServer) -> None:
    url = f"{gateway.address}/send?k={{secret}}&to={{to}}&text={{text}}"
    send(gateway, sms_url=url, sms_method="GET")
    (asked,) = gateway.asked
    query = {"k": [SECRET], "to": ["+61491570156"], "text": [TEXT]}
    assert parse_qs(urlsplit(asked.path).query) == query
    assert (asked.method, asked.body) == ("GET", b"")


def test_a_gateway_that_takes_plain_text(gateway: HttpServer) -> None:
    headers = json.dumps({"Content-Type": "text/plain", "X-To": "{to}"})
    send(gateway, sms_url=f"{gateway.address}/{{digits}}", sms_headers=headers, sms_body="{text}")
    (asked,) = gateway.asked
    assert asked.body.decode() == TEXT
    assert (asked.path, asked.headers["X-To"]) == ("/61491570156", "+61491570156")


def test_a_gateway_that_takes_xml(gateway: HttpServer) -> None:
    send(gateway, sms_method="PUT", sms_body='<sms to="{to}">{text}</sms>')
    (asked,) = gateway.asked
    escaped = TEXT.replace("&", "&amp;").replace(">", "&gt;").replace('"', "&quot;")
    assert asked.body.decode() == f'<sms to="+61491570156">{escaped}</sms>'
    assert (asked.method, asked.headers["Content-Type"]) == ("PUT", "application/xml")


@pytest.mark.parametrize(
    ("reply", "kind", "said"),
    [
        # common practice, no source: gateways differ; what a status means is from [RFC-9110]
        (Reply(b'{"messages": [{"error": 21211}]}', 400), PermanentSendError, "answers 400"),
        (Reply(b'{"messages": [{"status": "failed"}]}'), PassingSendError, "SMS_PERMANENT"),
        (Reply(b"<html>welcome</html>"), PassingSendError, "answers 200 <html>"),
        (Reply(b"bad request", 400), PassingSendError, "answers 400 bad request"),
        (Reply(b"", 401), ChannelDownError, "check DIGSEASON_SMS_URL"),
        (Reply(f"no {SECRET}".encode(), 403), ChannelDownError, "answers 403 no ..."),
        (Reply(b"no credit", 402), ChannelDownError, "no credit"),
        (Reply(b"", 302, {"Location": "/"}), ChannelDownError, "answers 302"),
        (Reply(b"busy", 429, {"Retry-After": "17"}), ChannelDownError, "answers 429"),
        (Reply(b"", 503), ChannelDownError, "answers 503"),
        (Reply(b"{}", hang_s=0.6), ChannelDownError, "does not answer within 0.4 s"),
        (Reply(b"{" * 90, pause_s=0.05), ChannelDownError, "does not answer within 0.4 s"),
        (Reply(b"{}", head_pause_s=0.05), ChannelDownError, "does not answer within 0.4 s"),
        (Reply(b"{}" * 50, cut=3), ChannelDownError, "broke off"),
    ],
)
def test_what_a_gateway_does_instead_of_taking_a_text(
    gateway: HttpServer, reply: Reply, kind: type[SendError], said: str
) -> None:
    error = fail(gateway, reply)
    assert isinstance(error, kind)
    assert said in str(error)
    if isinstance(error, ChannelDownError):
        assert error.wait_s == (17 if reply.status == 429 else None)


def test_a_status_may_say_that_a_number_is_bad(gateway: HttpServer) -> None:
    error = fail(gateway, Reply(b"", 422), sms_permanent_status="410, 420-429")
    assert isinstance(error, PermanentSendError)
    assert error.address_is_bad


def test_a_gateway_that_is_not_there_is_down(gateway: HttpServer) -> None:
    error = fail(gateway, Reply(), sms_url="http://127.0.0.1:1/k={secret}")
    assert isinstance(error, ChannelDownError)
    assert "broke off" in str(error) or "does not answer" in str(error)


@pytest.mark.parametrize(
    "settings",
    [
        {"sms_url": f"https://sms..example/{SECRET}?{{to}}{{text}}", "sms_body": ""},
        {"sms_headers": json.dumps({"X:Key": SECRET})},
    ],
)
def test_what_cannot_even_be_asked_is_told_without_the_key(
    gateway: HttpServer, settings: dict[str, str]
) -> None:
    error = fail(gateway, Reply(), **settings)
    assert isinstance(error, ChannelDownError)
    assert "check DIGSEASON_SMS_URL and DIGSEASON_SMS_HEADERS" in str(error)
