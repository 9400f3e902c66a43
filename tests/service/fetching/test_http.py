"""Asking a server on this machine that answers well, badly, slowly, never, and elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from service.fetching.addresses import AddressRefusedError, find_address
from service.fetching.http import ATTEMPTS, Fetcher, PassingFetchError, PermanentFetchError
from tests.http_server import Asked, HttpServer, Reply

GOOD = Reply(b"good")


Make = Callable[..., Fetcher]


def test_an_answer_comes_as_it_is(server: HttpServer, make: Make) -> None:
    server.say(Reply(b"\x00\xff"))
    assert make().fetch(f"{server.address}/a", {"from": "2025-04-01 00:00"}) == b"\x00\xff"
    assert [asked.path for asked in server.asked] == ["/a?from=2025-04-01+00%3A00"]


def test_who_asks_says_whom_to_write_to(server: HttpServer, make: Make) -> None:
    server.say(GOOD)
    make(contact="ada@example.org").fetch(server.address)
    agent = server.asked[0].headers["User-Agent"]
    assert agent.startswith("digseason/")
    assert agent.endswith("(ada@example.org)")


def test_what_has_not_changed_is_not_sent_again(server: HttpServer, make: Make) -> None:
    def answers(asked: Asked) -> Reply:
        same = asked.headers.get("If-None-Match") == '"1"'
        return Reply(status=304) if same else Reply(b"good", headers={"ETag": '"1"'})

    server.answers = answers
    first = make()
    assert first.fetch(server.address) == b"good"
    second = make(known=first.validators)
    assert second.fetch(server.address) is None
    assert second.validators == first.validators


def test_what_is_asked_anew_is_sent_again_and_not_remembered(
    server: HttpServer, make: Make
) -> None:
    server.say(Reply(b"good", headers={"ETag": '"1"'}))
    fetcher = make(known={server.address: {"If-None-Match": '"1"'}})
    assert fetcher.fetch_anew(server.address) == b"good"
    assert "If-None-Match" not in server.asked[0].headers
    assert fetcher.validators == {}


def test_a_status_that_is_final_is_not_tried_again(server: HttpServer, make: Make) -> None:
    server.say(Reply(status=500))
    with pytest.raises(PermanentFetchError) as caught:
        make().fetch_anew(server.address, final=[500])
    assert (caught.value.status, len(server.asked)) == (500, 1)


@pytest.mark.parametrize(
    "bad",
    [
        pytest.param(Reply(status=503), id="503"),
        pytest.param(Reply(status=500), id="500"),
        pytest.param(Reply(status=429), id="429"),
        pytest.param(Reply(b"x" * 1000, cut=100), id="truncated"),
        pytest.param(Reply(b"late", hang_s=0.5), id="hangs"),
    ],
)
def test_a_passing_fault_is_tried_again(
    server: HttpServer, make: Make, waits: list[float], bad: Reply
) -> None:
    server.say(bad, GOOD)
    assert make(read_timeout_s=0.2).fetch(server.address) == b"good"
    assert len(server.asked) == 2
    assert len(waits) == 1
    assert 0.5 <= waits[0] <= 1.5  # by hand: 1 s, give or take half


def test_an_answer_that_breaks_off_each_time_says_so_in_words(
    server: HttpServer, make: Make
) -> None:
    server.say(Reply(b"x" * 1000, cut=100))
    with pytest.raises(PassingFetchError, match=r": the answer broke off before its end; tried 4"):
        make().fetch(server.address)


@pytest.mark.parametrize(
    "drips",
    [
        pytest.param(Reply(b"x" * 200, pause_s=0.05), id="its body"),
        pytest.param(Reply(b"good", head_pause_s=0.05), id="its header"),
        pytest.param(Reply(b"x" * 200, status=404, pause_s=0.05), id="the body of an error"),
    ],
)
def test_an_answer_that_drips_is_left_to_the_next_fetch(
    server: HttpServer, make: Make, waits: list[float], drips: Reply
) -> None:
    server.say(drips, GOOD)
    begun_s = time.monotonic()
    with pytest.raises(PassingFetchError, match=r"takes longer than 0\.3 s; the next fetch"):
        make(whole_answer_s=0.3).fetch(server.address)
    assert time.monotonic() - begun_s < 3  # whole it would take 5 s and more
    assert (len(server.asked), waits) == (1, [])


def test_it_waits_twice_as_long_each_time_and_gives_up(
    server: HttpServer, make: Make, waits: list[float]
) -> None:
    server.say(Reply(status=503))
    with pytest.raises(PassingFetchError, match=r"answers 503 .*; tried 4 times, the next fetch"):
        make().fetch(server.address)
    assert len(server.asked) == ATTEMPTS
    middles_s = [1.0, 2.0, 4.0]  # by hand
    assert waits == [pytest.approx(middle_s, rel=0.5) for middle_s in middles_s]


@pytest.mark.parametrize("says", ["7", "Sun, 01 Mar 2026 12:00:07 GMT"])
def test_it_waits_as_long_as_the_server_asks(
    server: HttpServer, make: Make, waits: list[float], says: str
) -> None:
    server.say(Reply(status=429, headers={"Retry-After": says}), GOOD)
    fetcher = make(now=lambda: datetime(2026, 3, 1, 12, tzinfo=UTC))
    assert fetcher.fetch(server.address) == b"good"
    assert waits == [7]


def test_a_server_that_asks_for_an_hour_is_left_to_the_next_fetch(
    server: HttpServer, make: Make, waits: list[float]
) -> None:
    server.say(Reply(status=429, headers={"Retry-After": "3600"}))
    with pytest.raises(PassingFetchError, match="it asks to wait 3600 s; tried 1 times"):
        make().fetch(server.address)
    assert waits == []


def test_two_requests_to_one_host_stand_apart(
    server: HttpServer, make: Make, waits: list[float]
) -> None:
    server.say(GOOD)
    fetcher = make(between_requests_s=2.0, seconds=lambda: 100.0)
    fetcher.fetch(server.address)
    fetcher.fetch(server.address)
    assert waits == [2.0]


def test_no_server_is_a_passing_fault(make: Make) -> None:
    with pytest.raises(PassingFetchError, match=r"127\.0\.0\.1:9.*refused"):
        make().fetch("http://127.0.0.1:9/")


def test_a_missing_file_is_said_with_its_address(server: HttpServer, make: Make) -> None:
    with pytest.raises(PermanentFetchError, match="/a: answers 404 Not Found, 'not found'") as told:
        make().fetch(f"{server.address}/a")
    assert told.value.status == 404
    assert len(server.asked) == 1


def test_a_login_in_an_address_is_not_told(server: HttpServer, make: Make) -> None:
    server.say(Reply(b"", 404))
    address = server.address.replace("://", "://ada:sesame@")
    with pytest.raises(PermanentFetchError, match="answers 404") as raised:
        make().fetch(f"{address}/a")
    assert str(raised.value).startswith(f"{server.address}/a: ")


def test_a_huge_answer_is_not_read_to_its_end(server: HttpServer, make: Make) -> None:
    server.say(Reply(b"x" * 300_000))
    with pytest.raises(PermanentFetchError, match="larger than 200,000 bytes"):
        make(largest_bytes=200_000).fetch(server.address)


def test_the_beginning_alone_is_read_of_a_long_answer(server: HttpServer, make: Make) -> None:
    server.say(Reply(b"x" * 300_000, headers={"ETag": '"1"'}))
    fetcher = make(largest_bytes=200_000)
    assert fetcher.fetch(server.address, first_bytes=10) == b"x" * 10
    assert fetcher.validators == {}


def test_a_redirect_is_followed(server: HttpServer, make: Make) -> None:
    server.say(Reply(status=302, headers={"Location": "/there"}), GOOD)
    assert make().fetch(f"{server.address}/here") == b"good"
    assert [asked.path for asked in server.asked] == ["/here", "/there"]


def test_redirects_without_end_end(server: HttpServer, make: Make) -> None:
    server.say(Reply(status=302, headers={"Location": "/"}))
    with pytest.raises(PermanentFetchError, match="redirects more than 5 times"):
        make().fetch(server.address)


def test_a_redirect_into_the_private_network_is_refused(server: HttpServer, make: Make) -> None:
    port = server.address.rpartition(":")[2]
    server.say(Reply(status=302, headers={"Location": f"http://127.0.0.1:{port}/secret"}), GOOD)
    with pytest.raises(PermanentFetchError, match=r": 127\.0\.0\.1 is no public address"):
        make(allow_hosts=["localhost"]).fetch(f"http://localhost:{port}/")
    assert [asked.path for asked in server.asked] == ["/"]


@pytest.mark.parametrize("url", ["file:///etc/hosts", "ftp://example.org/a", "http:///a", "a.txt"])
def test_only_web_addresses_are_asked(make: Make, url: str) -> None:
    with pytest.raises(PermanentFetchError, match="write an address that begins with https://"):
        make().fetch(url)


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1",
        "10.1.2.3",
        "192.168.0.1",
        "172.16.0.1",
        "169.254.169.254",
        "100.64.0.1",
        "0.0.0.0",  # noqa: S104 (to be refused)
        "224.0.0.1",
        "::1",
        "fe80::1",
        "fd00::1",
        "::ffff:10.0.0.1",
        "2002:a00:1::",
        "64:ff9b::a00:1",  # source: [RFC-6052] 2.1
        "::a00:1",
        "fec0::1",
        "2130706433",
        "localhost",
    ],
)
def test_a_private_address_is_refused(host: str) -> None:
    with pytest.raises(AddressRefusedError, match="no public address"):
        find_address(host, 80, ())


def test_a_public_address_is_connected_to() -> None:
    for address in ("93.184.215.14", "64:ff9b::5db8:d70e", "2606:2800:21f::1"):
        assert find_address(address, 443, ()) == address


def test_a_server_of_this_machine_is_not_asked_unless_it_is_allowed(
    server: HttpServer, make: Make
) -> None:
    with pytest.raises(PermanentFetchError, match=r'add allow_hosts = \["127.0.0.1"\]'):
        make(allow_hosts=()).fetch(server.address)
    assert server.asked == []
