"""Texts by the HTTP gateway that the settings describe."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

import requests
from requests.exceptions import InvalidHeader, InvalidURL
from urllib3.exceptions import LocationParseError

from service.channels.answers import holds, is_among, read_answer
from service.channels.contract import ChannelDownError, DoubtfulSendError, PermanentSendError
from service.channels.templates import escape_for, fill, find_type, for_url
from service.fetching.deadlines import TimedAdapter, within
from service.fetching.http import find_reason, find_wait_s, read_begin, show_begin
from service.settings import Settings
from service.store.outbox import Message

OURS = (*range(300, 400), 401, 402, 403, 404, 405, 407)
"""Statuses that tell of the settings or the account, whatever the message."""
BUSY = (408, 425, 429, *range(500, 600))
LARGEST_BYTES = 2**16
_NO_REQUEST = (*(InvalidHeader, InvalidURL), LocationParseError)
CHECK_URL = "check DIGSEASON_SMS_URL"


class GatewayChannel:
    """Asks the gateway to send each text."""

    is_real = True

    def __init__(self, settings: Settings) -> None:
        self.where = urlsplit(settings.sms_url).hostname or ""  # no more of it: it may hold a key
        self.lease = timedelta(seconds=4 * settings.sms_timeout_s)
        self.per_min = settings.sms_per_min
        self._settings = settings
        self._session = requests.Session()
        for scheme in ("http://", "https://"):
            self._session.mount(scheme, TimedAdapter())

    def send(self, message: Message) -> str:
        """Have a text sent; return what the gateway calls it, or its answer."""
        s = self._settings
        status, body, wait_s = self._ask(message)
        shown = body.replace(s.sms_secret.get_secret_value() or "\0", "...")
        said = f"{self.where} answers {status} {show_begin(shown.encode())}".rstrip()
        if is_among(status, s.sms_permanent_status) or (
            s.sms_permanent and holds(s.sms_permanent, body)
        ):
            raise PermanentSendError(said, address_is_bad=True)
        is_taken = is_among(status, s.sms_success_status)
        if is_taken and (not s.sms_success or holds(s.sms_success, body)):
            number = read_answer(s.sms_id, body) if s.sms_id else None
            return f"{self.where} calls it {number}" if number else said
        if status in BUSY:
            raise ChannelDownError(said, in_transit=True, wait_s=wait_s)
        if status in OURS:
            raise ChannelDownError(
                f"{said}; check DIGSEASON_SMS_URL, DIGSEASON_SMS_HEADERS, DIGSEASON_SMS_SECRET and "
                "the account"
            )
        raise DoubtfulSendError(
            f"{said}; if that means that this number cannot be reached, say so with "
            "DIGSEASON_SMS_PERMANENT; if all texts get this, the gateway may have changed: look at "
            "DIGSEASON_SMS_BODY"
        )

    def close(self) -> None:
        """End the connection."""
        self._session.close()

    def _ask(self, message: Message) -> tuple[int, str, float | None]:
        """Return the status of an answer, its body, and how long it asks to wait [s]."""
        s = self._settings
        values = {
            "to": message.address,
            "digits": message.address.removeprefix("+"),
            "text": message.message,
            "sender": s.sms_sender,
            "reference": message.message_id.strip("<>"),
            "secret": s.sms_secret.get_secret_value(),
        }
        headers = {name: fill(value, values) for name, value in s.sms_headers.items()}
        lower = {name.lower(): value for name, value in headers.items()}
        content_type = lower.get("content-type") or find_type(s.sms_body)
        if s.sms_body and "content-type" not in lower:
            headers["Content-Type"] = content_type
        body = fill(s.sms_body, values, escape_for(content_type)).encode()
        try:
            with (
                within(s.sms_timeout_s),
                self._session.request(
                    s.sms_method,
                    fill(s.sms_url, values, for_url),
                    headers=headers,
                    data=body or None,
                    timeout=s.sms_timeout_s,
                    allow_redirects=False,
                    stream=True,
                ) as answer,
            ):
                wait_s = find_wait_s(answer.headers.get("Retry-After", ""), datetime.now(UTC))
                text = read_begin(answer, LARGEST_BYTES).decode("utf-8", "replace")
                return answer.status_code, text, wait_s
        except _NO_REQUEST:
            # whose own words show the address or the header, a key in it
            raise ChannelDownError(f"{CHECK_URL} and DIGSEASON_SMS_HEADERS: no request") from None
        except requests.exceptions.ConnectTimeout:
            raise ChannelDownError(f"{self.where} does not answer; {CHECK_URL}") from None
        except requests.exceptions.SSLError as error:
            raise ChannelDownError(
                f"{self.where}: its certificate is not valid ({find_reason(error)}); {CHECK_URL}"
            ) from None
        except requests.exceptions.Timeout:
            raise ChannelDownError(
                f"{self.where} does not answer within {s.sms_timeout_s:g} s", in_transit=True
            ) from None
        except requests.exceptions.RequestException as error:
            raise ChannelDownError(
                f"{self.where} broke off ({find_reason(error)}); {CHECK_URL} if this stays",
                in_transit=True,
            ) from None
