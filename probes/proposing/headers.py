"""What the names of columns say: units, depths, and what is no soil temperature."""

from __future__ import annotations

import re

from probes.stated_units import SPELLED

_UNITS = {  # a bare letter is a hint, where what reads files takes none
    unit: rf"{way}|\bd{unit}\b|(?<=[\s_\d]){unit}(?=$|[\s_)\]])" for unit, way in SPELLED.items()
}
CM_IN = {
    "cm": 1.0,
    "mm": 0.1,
    "m": 100.0,
    "in": 2.54,
    "inch": 2.54,
    "inches": 2.54,
    '"': 2.54,
    "ft": 30.48,
}
_SIZE = r"(?P<size>\d+(?:[.,]\d+)?)"
_WITH_UNIT = re.compile(
    rf'{_SIZE}[\s_-]*(?P<unit>cm|mm|m|inches|inch|in|ft|")(?![a-z])', re.IGNORECASE
)
_BARE = re.compile(_SIZE)
_UNIT_ONLY = re.compile(r"(?:^|[\s_(\[])(cm|mm|m|inches|inch|in|ft)(?:$|[\s_)\]])", re.IGNORECASE)
_NO_NAME = re.compile(
    r"[\[(]?(?:[CFV%]|mV|cm|m|in|utc|ts|rn|[ymdhs:/. -]{2,})[\])]?", re.IGNORECASE
)
_OF_ANOTHER_KIND = re.compile(
    r"moist|vwc|swc|water|humid|\brh|batt|volt|[\[(_ ]m?v[\])]?$|%|rain|precip|wind|solar|radi"
    r"|press|[hk]pa|rssi|signal|record|recnbr|\brec\b|index|count|^no\.?$|^#$|\bair|ambient|dew"
    r"|conduct|salin|flag|qc|quality|sensor$|serial|flux",
    re.IGNORECASE,
)
SHALLOWEST_CM, DEEPEST_CM = 1, 1000


def find_unit(text: str) -> str | None:
    """Return "C" or "F" where a text names one of them, and only one."""
    found = [unit for unit, spelling in _UNITS.items() if re.search(spelling, text, re.IGNORECASE)]
    return found[0] if len(found) == 1 else None


def is_unit(text: str) -> bool:
    """Return whether a cell is no name but a unit, or how a time is written."""
    return _NO_NAME.fullmatch(text) is not None or (len(text) <= 10 and find_unit(text) is not None)


def find_length_unit(text: str) -> str | None:
    """Return the unit of depth in a name such as "depth_m"."""
    found = _UNIT_ONLY.search(text)
    return found[1].lower() if found else None


def find_depth(text: str, unit: str | None = None) -> tuple[float, str | None] | None:
    """Return the depth [cm] that a text names and its unit of length, None where it states none.

    Parameters
    ----------
    text : str
        Signs are left out: below ground is below ground. Without a unit the last number is taken.
    unit : str, optional
        What numbers without a unit of their own are in; cm where it is left out.
    """
    found = _WITH_UNIT.search(text)
    if found is not None:
        unit = found["unit"].lower()
    else:
        *_, found = [None, *_BARE.finditer(text)]
    if found is None:
        return None
    depth_cm = float(found["size"].replace(",", ".")) * CM_IN[unit or "cm"]
    return round(depth_cm, 4), unit


def is_of_another_kind(name: str) -> bool:
    """Return whether a column's name says that it holds something else than soil temperature."""
    return _OF_ANOTHER_KIND.search(name) is not None
