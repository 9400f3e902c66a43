"""What an address of a person may be: of mail, or the number of a phone."""

from __future__ import annotations

import re
from email.errors import HeaderParseError
from email.headerregistry import Address
from email.policy import SMTP
from functools import lru_cache

from phonenumbers import (
    NumberParseException,
    PhoneNumberFormat,
    format_number,
    is_possible_number,
    parse,
)

PHONE = r"^\+[1-9][0-9]{6,14}$"
"""An international number, as [E-164]; a pattern."""

_LONGEST_LOCAL, _LONGEST_DOMAIN = 64, 255
_LABEL = r"[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
_DOMAIN = re.compile(rf"{_LABEL}(\.{_LABEL})*")
_NOT_ONE = "is not one mail address; write it like ada@example.org"


@lru_cache(4096)
def parse_address(text: str) -> Address:
    """Return the one mail address of a text, with or without a name.

    Raises
    ------
    ValueError
        When it is none, several, or one that mail cannot carry everywhere; says what to write.

    References
    ----------
    [RFC-5321] 4.1.2 and 4.5.3.1 for what an address may be and how long.
    """
    try:
        header = SMTP.header_factory("To", text)
        (group,) = header.groups
        (address,) = group.addresses
    except (ValueError, IndexError, HeaderParseError):
        raise ValueError(_NOT_ONE) from None
    if not address.username.isascii():
        raise ValueError("holds letters that not every mail server takes; write another address")
    if not address.domain.isascii():
        raise ValueError(f"mail servers know it by another name; write {_in_ascii(address)}")
    if (
        group.display_name is not None
        or header.defects
        or len(address.username) > _LONGEST_LOCAL
        or len(address.domain) > _LONGEST_DOMAIN
        or not _DOMAIN.fullmatch(address.domain)
    ):
        raise ValueError(_NOT_ONE)
    return address


def parse_phone(text: str) -> str:
    """Return the number of a phone as [E-164] writes it: "+61 491 570 156" is "+61491570156".

    Raises
    ------
    ValueError
        When it is no number with its country, or no country has numbers of its length; says what
        to write.
    """
    try:
        number = parse(text)
    except NumberParseException:
        raise ValueError("is no number with its country; write it like +61491570156") from None
    if not is_possible_number(number):
        raise ValueError(f"is no number of +{number.country_code}; look for a wrong digit")
    return format_number(number, PhoneNumberFormat.E164)


def _in_ascii(address: Address) -> str:
    try:
        return f"{address.username}@{address.domain.encode('idna').decode()}"
    except UnicodeError:
        return "another address"
