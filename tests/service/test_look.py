"""The look of pages: what is written can be read, in the light and in the dark."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import service.web
from alerts.colours import DAY, NIGHT, Palette
from tests.contrast import contrast

SHEET = (Path(service.web.__file__).parent / "static" / "almanac.css").read_text("utf-8")
LIGHT, DARK, *_ = (
    dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", part)) for part in SHEET.split(":root {")[1:]
)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "least"), [("ink", 4.5), ("clay", 4.5), ("edge", 3.0)])
def test_ink_stands_out_from_paper(colours: dict[str, str], ink: str, least: float) -> None:
    # source: [WCAG-2.1] 1.4.3 text, 1.4.11 edges of fields
    assert contrast(colours[ink], colours["paper"]) >= least


@pytest.mark.parametrize(("colours", "palette"), [(LIGHT, DAY), (DARK, NIGHT)])
def test_pages_mails_and_pictures_have_the_same_colours(
    colours: dict[str, str], palette: Palette
) -> None:
    assert vars(palette).items() <= colours.items()


def test_black_on_white_has_the_contrast_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # source: [WCAG-2.1]
