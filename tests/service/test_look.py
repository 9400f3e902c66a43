"""The look of pages: what is written can be read, in the light and in the dark."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import service.web

SHEET = (Path(service.web.__file__).parent / "static" / "almanac.css").read_text("utf-8")
LIGHT, DARK, *_ = (
    dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", part)) for part in SHEET.split(":root {")[1:]
)


def luminance(colour: str) -> float:
    """Return relative luminance. source: [WCAG-2.1]"""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "least"), [("ink", 4.5), ("clay", 4.5), ("edge", 3.0)])
def test_ink_stands_out_from_paper(colours: dict[str, str], ink: str, least: float) -> None:
    # source: [WCAG-2.1] 1.4.3 text, 1.4.11 edges of fields
    assert contrast(colours[ink], colours["paper"]) >= least


def test_black_on_white_has_the_contrast_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # source: [WCAG-2.1]
