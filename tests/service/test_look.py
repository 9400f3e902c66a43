"""The look of pages: what is written can be read, in the light and in the dark."""

from __future__ import annotations

import pytest

from alerts.colours import DAY, NIGHT, Palette
from service.web.colours import PRINTED
from tests.contrast import contrast


@pytest.mark.parametrize("colours", [DAY, NIGHT, PRINTED], ids=["day", "night", "printed"])
@pytest.mark.parametrize(
    ("ink", "least"), [("ink", 4.5), ("clay", 4.5), ("moss", 4.5), ("slate", 4.5), ("edge", 3.0)]
)
def test_ink_stands_out_from_paper(colours: Palette, ink: str, least: float) -> None:
    # source: [WCAG-2.1] 1.4.3 text, 1.4.11 edges of fields
    assert contrast(getattr(colours, ink), colours.paper) >= least


@pytest.mark.parametrize("colours", [DAY, NIGHT], ids=["day", "night"])
def test_ink_can_be_read_on_what_is_open(colours: Palette) -> None:
    assert contrast(colours.ink, colours.straw) >= 4.5  # source: [WCAG-2.1] 1.4.3


def test_black_on_white_has_the_contrast_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # source: [WCAG-2.1]
