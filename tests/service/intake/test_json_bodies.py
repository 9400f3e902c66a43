"""JSON with readings: what is wrong with one rejects it alone, no such body is refused whole."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.frames import Reject
from service.intake.json_bodies import BodyError, read_readings
from service.intake.pushes import PushedReading, read_json
from tests.laws import law

KEYS = st.sampled_from(list(PushedReading.model_fields))
AT = '"observed_at": "2025-10-01T22:30:00Z"'


@pytest.mark.parametrize(
    ("sent", "reason"),
    [
        (f'{{{AT}, "depth_cm": 30, "soil_temp_c": true}}', "soil_temp_c = true is no number"),
        (f'{{{AT}, "depth_cm": 30, "soil_temp_c": "16.4"}}', 'soil_temp_c = "16.4" is no number'),
        (f'{{{AT}, "depth_cm": 30, "soil_temp_c": 1e999}}', "soil_temp_c = Infinity is no finite"),
        (f'{{{AT}, "depth_cm": [], "soil_temp_c": 9}}', "depth_cm = [] is no number"),
        ('{"observed_at": 9, "depth_cm": 30, "soil_temp_c": 9}', "observed_at = 9 is no text"),
        ('{"depth_cm": 30, "soil_temp_c": 16.4}', "observed_at is missing"),
        (f'{{{AT}, "depth_cm": 30}}', "give soil_temp_c or soil_temp_f, one of the two"),
        (f'{{{AT}, "soil_temp_c": 9}}', "give depth_cm or channel, one of the two"),
        (f'{{{AT}, "depth_cm": 30, "temp": 9}}', "temp = 9 is no key of a reading; the keys are"),
        (f'{{{AT}, "depth_cm": 30, "depth_cm": 15, "soil_temp_c": 9}}', "holds 'depth_cm' twice"),
        (f'{{{AT}, "channel": "\\ud800", "soil_temp_c": 9}}', "holds half a character"),
        (f'{{{AT}, "depth_cm": 30, "soil_temp_c": {"9" * 5000}}}', "is no finite number"),
        ("16.4", "is no object; send observed_at, depth_cm, channel"),
        ("null", "is no object; send observed_at, depth_cm, channel"),
    ],
)
def test_a_reading_of_another_form_is_rejected_and_the_rest_counts(sent: str, reason: str) -> None:
    good = f'{{{AT}, "depth_cm": 15, "soil_temp_c": 16.4}}'
    given, rejects = read_json(f'{{"readings": [{sent}, {good}]}}'.encode())
    assert [(one.number, one.soil_temp_c) for one in given] == [(2, 16.4)]
    assert [reject.line for reject in rejects] == [1]
    assert reason in rejects[0].reason
    assert rejects[0].text.isascii()


@pytest.mark.parametrize(
    "body",
    [
        *(b"", b"{", b"[]", b"null", b"\xff", b"[" * 9999, b'{"readings": []}'),
        *(b'{"readings": [NaN]}', b'{"readings": {"soil_temp_c": 9}}', b'{"reading": [{}]}'),
        b'{"readings": [{}], "logger": "u1"}',
        b'{"readings": [{}], "readings": [{}]}',
    ],
)
def test_a_body_that_is_no_push_is_refused_as_a_whole(body: bytes) -> None:
    with pytest.raises(BodyError) as caught:
        read_json(body)
    assert str(caught.value).startswith(("body: ", "readings: "))


def test_a_body_of_too_many_readings_is_refused_as_a_whole() -> None:
    with pytest.raises(BodyError, match=r"readings: 3 are more than 2; send fewer at once"):
        read_readings(b'{"readings": [1, 2, 3]}', PushedReading, 2)


def test_a_reading_as_wrong_as_can_be_is_told_shortly() -> None:
    keys = ", ".join(f'"{number}": "{"x" * 1000}"' for number in range(1000))
    (reject,) = read_readings(f'{{"readings": [{{{keys}}}]}}'.encode(), PushedReading)
    assert isinstance(reject, Reject)
    assert len(reject.reason) < 2000


ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(KEYS | st.text(), inner, max_size=5)
    ),
    max_leaves=8,
)


@law(60)
@given(st.lists(ANY, min_size=1, max_size=5))
def test_every_reading_of_a_body_is_taken_or_rejected_under_its_number(sent: list[object]) -> None:
    body = json.dumps({"readings": sent}).replace("Infinity", "1e999").encode()
    taken, rejects = read_json(body)
    numbers = sorted([*(one.number for one in taken), *(reject.line for reject in rejects)])
    assert numbers == list(range(1, len(sent) + 1))
    assert all(one.reason.replace("\t", "").isprintable() for one in rejects)
