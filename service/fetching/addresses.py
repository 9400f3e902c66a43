"""Connections to public addresses only: what a farm file or a redirect names may be anyone's.

The address is looked up, checked and connected to in one go, so that a name which answers
otherwise the second time gains nothing.
"""

from __future__ import annotations

import socket
from collections.abc import Collection
from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import NameResolutionError

from service.fetching.deadlines import Timed, make_pools

_TRANSLATED = IPv6Network("64:ff9b::/96")
"""IPv4 addresses as a network without them knows them [RFC-6052]."""


class AddressRefusedError(Exception):
    """A host that lies in a private network, or is this machine."""


def find_address(host: str, port: int, allow_hosts: Collection[str]) -> str:
    """Return an address of a host that may be connected to; socket.gaierror where it has none."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    addresses = [str(address[0]) for *_, address in found]
    if host.lower() in allow_hosts:
        return addresses[0]
    for address in addresses:
        if not _is_public(ip_address(address.partition("%")[0])):
            name = host if host == address else f"{host}, which is {address},"
            raise AddressRefusedError(
                f"{name} is no public address; if it is meant, add "
                f'allow_hosts = ["{host}"] to the station'
            )
    return addresses[0]


def _is_public(address: IPv4Address | IPv6Address) -> bool:
    if isinstance(address, IPv6Address):
        # an IPv4 address dressed as IPv6 is judged as what it is
        dressed = address.ipv4_mapped or address.sixtofour
        if address in _TRANSLATED:
            dressed = IPv4Address(int(address) % 2**32)
        if dressed is None and (address.is_site_local or address.is_reserved):
            return False
        address = dressed or address
    return address.is_global and not address.is_multicast


def open_session(allow_hosts: Collection[str]) -> requests.Session:
    """Return a session that connects to public addresses and these hosts only, without a proxy."""
    session = requests.Session()
    session.trust_env = False  # a proxy would look hosts up itself; a .netrc would send passwords
    adapter = _PublicAdapter({host.lower() for host in allow_hosts})
    session.mount("http://", adapter)
    session.mount("https://", adapter)
    return session


class _PublicAdapter(HTTPAdapter):
    def __init__(self, allow_hosts: Collection[str]) -> None:
        self._allow_hosts = allow_hosts
        super().__init__()

    def init_poolmanager(self, *args: Any, **options: Any) -> None:
        super().init_poolmanager(*args, **options)
        allow_hosts = self._allow_hosts

        class Pinned(Timed):
            """Connects to the address that was checked; the name stays what TLS is held against."""

            _dns_host: str
            port: int

            def _new_conn(self) -> socket.socket:
                name = self._dns_host
                try:
                    self._dns_host = find_address(name, self.port, allow_hosts)
                    return super()._new_conn()
                except socket.gaierror as error:
                    raise NameResolutionError(name, self, error) from error  # pyright: ignore[reportArgumentType]
                finally:
                    self._dns_host = name

        self.poolmanager.pool_classes_by_scheme = make_pools(Pinned)
