"""What a short text says of a reading by hand, in English and in Spanish."""

from __future__ import annotations

from datetime import date, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.hand_texts import (
    HandText,
    HandTextError,
    parse_depth_cm,
    parse_hand_text,
    parse_temperature,
)

TERRACE = HandText(61.5, "F", 30.0, time(8, 30), None, 0, "terrace")
THE_12TH = date(2026, 4, 12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("soil 30cm 61.5F 8:30 terrace", TERRACE),
        ("Soil at 30 cm 61,5 °F at 8:30 AM, Terrace", TERRACE),
        ("suelo 30 cm 61,5 grados F a las 8:30 de la mañana terrace", TERRACE),
        ("terrace 61.5f 30 centimetres 8h30", TERRACE),
        ("soil -30cm 61.5F 8:30 terrace", TERRACE),
        ("suelo 16,4C ayer 17:05", HandText(16.4, "C", None, time(17, 5), None, 1, "")),
        ("30cm 16.4c 5 pm", HandText(16.4, "C", 30.0, time(17), None, 0, "")),
        ("30cm 16.4c 12:10 am", HandText(16.4, "C", 30.0, time(0, 10), None, 0, "")),
        ("30cm 16.4c 8:30 de la noche", HandText(16.4, "C", 30.0, time(20, 30), None, 0, "")),
        ('12" 61 degrees F', HandText(61.0, "F", 30.48, None, None, 0, "")),
        ("6 pulgadas 61F hoy", HandText(61.0, "F", 15.24, None, None, 0, "")),
        ("2026-04-12 8:30 -2C 15cm", HandText(-2.0, "C", 15.0, time(8, 30), THE_12TH, 0, "")),
        ("terrace 7 61.5F", HandText(61.5, "F", None, None, None, 0, "terrace 7")),
        ("61.5", HandText(61.5, None, None, None, None, 0, "")),
        ("61.5F 8.30", HandText(61.5, "F", None, None, None, 0, "8 30")),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_a_text_says(text: str, said: HandText) -> None:
    assert parse_hand_text(text) == said


@pytest.mark.parametrize(
    ("text", "fault", "part"),
    [
        ("hello", "no temperature", ""),
        ("soil 30cm 8:30 terrace", "no temperature", ""),
        ("61F 62F", "two temperatures", "62f"),
        ("61 62", "two temperatures", "62"),
        ("15cm 30cm 61F", "two depths", "30cm"),
        ("8:30 9:30 61F", "two times", "9:30"),
        ("25:10 61F", "no such time", "25:10"),
        ("13 pm 61F", "no such time", "13 pm"),
        ("4/12 61F", "which day", "4/12"),
        ("2026-13-01 61F", "which day", "2026-13-01"),
        ("today yesterday 61F", "which day", "yesterday"),
    ],
)
def test_a_text_that_leaves_something_open_is_refused(text: str, fault: str, part: str) -> None:
    with pytest.raises(HandTextError) as caught:
        parse_hand_text(text)
    assert (caught.value.fault, caught.value.part) == (fault, part)


@given(st.permutations(["soil", "30cm", "61.5F", "8:30", "yesterday", "terrace"]))
def test_the_order_of_its_parts_does_not_matter(parts: list[str]) -> None:
    expected = HandText(61.5, "F", 30.0, time(8, 30), None, 1, "terrace")
    assert parse_hand_text(" ".join(parts)) == expected


@given(
    st.text(max_size=60)
    | st.lists(st.sampled_from([*"FC:/-,°9", "61.5", "cm", "30", "pm", "in", "ayer"])).map(" ".join)
)
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        said = parse_hand_text(text)
    except HandTextError:
        said = None
    assert said is None or said.unit in ("F", "C", None)


@given(st.floats(-40, 140).map(lambda value: round(value, 1)), st.sampled_from(["F", "C"]))
def test_a_temperature_is_read_as_it_is_written(value: float, unit: str) -> None:
    assert parse_temperature(f" {value}{unit} ") == (value, unit)
    assert parse_temperature(f"{value}°{unit.lower()}".replace(".", ",")) == (value, unit)


@pytest.mark.parametrize("text", ["", "warm", "61.5K", "61.5F 62F", "6 1.5F", "1e3F", "nan"])
def test_what_is_no_temperature_is_refused(text: str) -> None:
    with pytest.raises(HandTextError, match="no temperature"):
        parse_temperature(text)


@pytest.mark.parametrize(
    ("text", "depth_cm"), [("30", 30.0), ("30 cm", 30.0), ("12in", 30.48), ("7,5", 7.5)]
)
def test_a_depth_is_in_cm_unless_it_says_otherwise(text: str, depth_cm: float) -> None:
    # by hand: 12 x 2.54 = 30.48
    assert parse_depth_cm(text) == pytest.approx(depth_cm)


@pytest.mark.parametrize("text", ["", "deep", "30 m", "30cm 40cm", "30 cm down"])
def test_what_is_no_depth_is_refused(text: str) -> None:
    with pytest.raises(HandTextError, match="depth"):
        parse_depth_cm(text)
