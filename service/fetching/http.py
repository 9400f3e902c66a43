"""Asking a server: politely, within bounds, and again where that may help."""

from __future__ import annotations

import random
import re
import time
from collections.abc import Callable, Collection, Iterator, Mapping, MutableMapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from functools import cached_property
from http.client import IncompleteRead
from importlib.metadata import version
from urllib.parse import urlencode, urljoin, urlsplit

import requests

from service.fetching.addresses import AddressRefusedError, open_session
from service.fetching.deadlines import AnswerTooLateError, within

CONNECT_TIMEOUT_S, READ_TIMEOUT_S = 10, 30
WHOLE_ANSWER_S = 300  # a server that sends a byte now and then keeps within READ_TIMEOUT_S
LARGEST_BYTES = 64 * 2**20  # a year of five-minute text is 14 MB
ATTEMPTS = 4
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 120.0
BETWEEN_REQUESTS_S = 1.0  # to one host
MOST_REDIRECTS = 5
SHOWN_CHARACTERS = 200

REDIRECTS = (301, 302, 303, 307, 308)
PASSING = (408, 425, 429, 500, 502, 503, 504)
"""Status codes that may be otherwise the next time."""


class FetchError(Exception):
    """What went wrong with an address, and what to do; a login in the address is left out."""

    def __init__(self, message: str) -> None:
        super().__init__(re.sub(r"(?<=://)[^/\s]*@", "", message))


class PassingFetchError(FetchError):
    """The network or the server fails for now: the next fetch may do."""


class PermanentFetchError(FetchError):
    """It will be the same the next time, until someone changes something.

    status : the HTTP status, where it is one
    """

    def __init__(self, message: str, status: int | None = None) -> None:
        super().__init__(message)
        self.status = status


class _TryAgainError(Exception):
    """One attempt has failed; `wait_s` is what the server asks for."""

    def __init__(self, message: str, wait_s: float | None = None) -> None:
        super().__init__(message)
        self.wait_s = wait_s


Validators = Mapping[str, Mapping[str, str]]
"""What a server is asked with whether an answer has changed: URL -> request header -> value."""


@dataclass
class Fetcher:
    """Asks for one station; make one for each fetch.

    contact : stands in the User-Agent, so that who runs a server can reach who runs this
    allow_hosts : may lie in a private network
    known : validators of answers that are held already
    validators : of the answers of this fetch, and those that have not changed
    last_request_s : host -> when it was last asked; shared by the fetchers of one process
    """

    contact: str = ""
    allow_hosts: Collection[str] = ()
    known: Validators = field(default_factory=dict)
    last_request_s: MutableMapping[str, float] = field(default_factory=dict)
    read_timeout_s: float = READ_TIMEOUT_S
    whole_answer_s: float = WHOLE_ANSWER_S
    largest_bytes: int = LARGEST_BYTES
    between_requests_s: float = BETWEEN_REQUESTS_S
    sleep: Callable[[float], object] = time.sleep
    seconds: Callable[[], float] = time.monotonic
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    validators: dict[str, Mapping[str, str]] = field(default_factory=dict, init=False)

    def fetch(
        self, url: str, params: Mapping[str, str] | None = None, first_bytes: int | None = None
    ) -> bytes | None:
        """Return what an address answers; None where it has not changed since it was `known`.

        With `first_bytes` only its beginning is read, changed or not.
        """
        return self._fetch(url, params, first_bytes, if_changed=first_bytes is None)

    def fetch_anew(
        self, url: str, params: Mapping[str, str] | None = None, final: Collection[int] = ()
    ) -> bytes:
        """Return what an address answers, changed or not: one of several that are read as one.

        A status in `final` is an error that is not tried again.
        """
        return self._fetch(url, params, None, final=final) or b""

    def _fetch(
        self,
        url: str,
        params: Mapping[str, str] | None,
        first_bytes: int | None,
        if_changed: bool = False,
        final: Collection[int] = (),
    ) -> bytes | None:
        if params:
            url = f"{url}{'&' if '?' in url else '?'}{urlencode(params)}"
        for attempt in range(ATTEMPTS):
            try:
                with within(self.whole_answer_s):
                    return self._try(url, first_bytes, if_changed, final)
            except AnswerTooLateError:
                raise PassingFetchError(
                    f"{url}: the answer takes longer than {self.whole_answer_s:g} s; "
                    "the next fetch tries again"
                ) from None
            except _TryAgainError as error:
                wait_s = error.wait_s or FIRST_WAIT_S * 2**attempt * random.uniform(0.5, 1.5)  # noqa: S311 (no secret)
                if attempt == ATTEMPTS - 1 or wait_s > LONGEST_WAIT_S:
                    asked = f"; it asks to wait {error.wait_s:.0f} s" if error.wait_s else ""
                    raise PassingFetchError(
                        f"{url}: {error}{asked}; tried {attempt + 1} times, "
                        "the next fetch tries again"
                    ) from error
                self.sleep(wait_s)
        raise AssertionError("the last attempt returns or raises")

    @cached_property
    def _session(self) -> requests.Session:
        session = open_session(self.allow_hosts)
        contact = f" ({self.contact})" if self.contact else ""
        session.headers["User-Agent"] = f"digseason/{version('digseason')}{contact}"
        return session

    def _try(
        self, asked: str, first_bytes: int | None, if_changed: bool, final: Collection[int]
    ) -> bytes | None:
        """Ask once, redirects and all."""
        url = asked
        for _ in range(MOST_REDIRECTS + 1):
            headers = dict(self.known.get(asked, {})) if if_changed else {}
            with self._answer(url, headers) as answer:
                if answer.status_code in REDIRECTS and "Location" in answer.headers:
                    target = urljoin(url, answer.headers["Location"])
                    if urlsplit(url).scheme == "https" and urlsplit(target).scheme != "https":
                        raise PermanentFetchError(
                            f"{url}: redirects to {target}, which is not encrypted; "
                            "if that is meant, write the address of where it lies"
                        )
                    url = target
                    continue
                if answer.status_code == 304 and headers:
                    self.validators[asked] = headers
                    return None
                self._check_status(url, answer, final)
                content = self._read(url, answer, first_bytes)
                if if_changed:
                    self.validators[asked] = _validators_of(answer)
                return content
        raise PermanentFetchError(
            f"{asked}: redirects more than {MOST_REDIRECTS} times; check the address"
        )

    @contextmanager
    def _answer(self, url: str, headers: Mapping[str, str]) -> Iterator[requests.Response]:
        """Give the answer of one request, its body not read yet."""
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise PermanentFetchError(f"{url}: write an address that begins with https://")
        self._wait_for_turn(parts.hostname)
        try:
            with self._session.get(
                url,
                headers=headers,
                stream=True,
                allow_redirects=False,
                timeout=(CONNECT_TIMEOUT_S, self.read_timeout_s),
            ) as answer:
                yield answer
        except AddressRefusedError as error:
            raise PermanentFetchError(f"{url}: {error}") from None
        except (requests.exceptions.InvalidURL, UnicodeError) as error:
            raise PermanentFetchError(f"{url}: {error}; check the address") from None
        except requests.exceptions.SSLError as error:
            raise PermanentFetchError(
                f"{url}: its certificate is not valid: {find_reason(error)}; check the address"
            ) from None
        except requests.RequestException as error:
            raise _TryAgainError(find_reason(error)) from None

    def _wait_for_turn(self, host: str) -> None:
        waited_s = self.seconds() - self.last_request_s.get(host, -self.between_requests_s)
        if waited_s < self.between_requests_s:
            self.sleep(self.between_requests_s - waited_s)
        self.last_request_s[host] = self.seconds()

    def _check_status(self, url: str, answer: requests.Response, final: Collection[int]) -> None:
        status = answer.status_code
        if status == 200:
            return
        what = f"answers {status} {answer.reason or ''}".rstrip()
        if status in PASSING and status not in final:
            wait_s = find_wait_s(answer.headers.get("Retry-After", ""), self.now())
            raise _TryAgainError(what, wait_s)
        text = show_begin(self._read(url, answer, SHOWN_CHARACTERS))
        raise PermanentFetchError(
            f"{url}: {what}{f', {text!r}' if text else ''}; check the station's keys "
            "in the farm file",
            status,
        )

    def _read(self, url: str, answer: requests.Response, first_bytes: int | None) -> bytes:
        """Return the body, which ends where it must."""
        if first_bytes is not None:
            return read_begin(answer, first_bytes)
        content = read_begin(answer, self.largest_bytes + 1)
        if len(content) > self.largest_bytes:
            raise PermanentFetchError(
                f"{url}: the answer is larger than {self.largest_bytes:,} bytes; "
                "check that the address is that of readings"
            )
        return content


def read_begin(answer: requests.Response, most_bytes: int) -> bytes:
    """Return the body as far as so many bytes; what is behind them is not read."""
    content = bytearray()
    for part in answer.iter_content(min(most_bytes, 2**16)):
        content += part
        if len(content) >= most_bytes:
            break
    return bytes(content[:most_bytes])


def _validators_of(answer: requests.Response) -> dict[str, str]:
    pairs = (("ETag", "If-None-Match"), ("Last-Modified", "If-Modified-Since"))
    return {asks: answer.headers[says] for says, asks in pairs if says in answer.headers}


def find_wait_s(retry_after: str, now: datetime) -> float | None:
    """Return the seconds that a Retry-After asks for: it is a number or a date."""
    if retry_after.strip().isdecimal():
        return float(retry_after)
    try:
        then = parsedate_to_datetime(retry_after)
    except ValueError:
        return None
    return max(0.0, (then - now).total_seconds()) if then.tzinfo else None


def show_begin(content: bytes) -> str:
    """Return how an answer begins, in one line, as it may stand in a terminal."""
    text = " ".join(content[:SHOWN_CHARACTERS].decode("utf-8", "replace").split())
    return "".join(character for character in text if character.isprintable())


def find_reason(error: Exception) -> str:
    """Return the innermost message of an error, as someone who knows no Python can read it."""
    inner: BaseException = error
    while inner.args and isinstance(inner.args[-1], BaseException):
        inner = inner.args[-1]
    if isinstance(inner, IncompleteRead):
        return "the answer broke off before its end"
    reason = getattr(inner, "reason", None)
    text = str(reason if isinstance(reason, BaseException) else inner)
    return re.sub(r"<[^>]* object at 0x\w+>:? ?", "", text) or type(error).__name__
