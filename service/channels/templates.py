"""What a gateway is sent, with places in braces for what differs from message to message."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from urllib.parse import quote, quote_plus
from xml.sax.saxutils import escape as escape_xml

PLACES = {
    "to": "the number, as +61491570156",
    "digits": "the number without its +",
    "text": "the text",
    "sender": "DIGSEASON_SMS_SENDER",
    "reference": "the same for this message, however often it is sent",
    "secret": "DIGSEASON_SMS_SECRET",
}
_PLACE = re.compile(r"\{([a-z_]+)\}")

Escape = Callable[[str], str]


def find_places(template: str) -> set[str]:
    """Return the names that stand in braces."""
    return set(_PLACE.findall(template))


def fill(template: str, values: Mapping[str, str], escape: Escape = str) -> str:
    """Put values into their places, escaped for what they become a part of."""
    return _PLACE.sub(lambda place: escape(values[place[1]]), template)


def for_url(value: str) -> str:
    """Escape for the path or the query of a URL."""
    return quote(value, safe="")


def find_type(body: str) -> str:
    """Return the content type that a body looks like."""
    begin = _PLACE.sub("", body).lstrip()[:1]
    if begin in ("{", "["):
        return "application/json"
    return "application/xml" if begin == "<" else "application/x-www-form-urlencoded"


def escape_for(content_type: str) -> Escape:
    """Return how values are escaped in a body of a type."""
    if "json" in content_type:
        return lambda value: json.dumps(value)[1:-1]
    if "xml" in content_type:
        return lambda value: escape_xml(value, {'"': "&quot;"})
    return quote_plus if "urlencoded" in content_type else str
