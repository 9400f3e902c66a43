"""Results of checks: packed, unpacked, rolled up."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc.qartod import qartod_compare

from probes.checks import CHECKS, PROVIDER, TESTS, pack, pack_provider, roll_up, unpack
from probes.frames import FAIL, GOOD, NOT_EVALUATED, SUSPECT

RESULTS = (*TESTS, PROVIDER)

flags = st.lists(
    st.lists(
        st.sampled_from([GOOD, NOT_EVALUATED, SUSPECT, FAIL]),
        min_size=len(RESULTS),
        max_size=len(RESULTS),
    ),
    min_size=1,
    max_size=20,
)


@given(flags)
def test_what_is_packed_comes_back(rows: list[list[int]]) -> None:
    table = np.array(rows, np.int8)
    results = {test: table[:, place] for place, test in enumerate(RESULTS)}
    back = unpack(pack(results, len(rows)))
    assert {test: flag.tolist() for test, flag in back.items()} == {
        test: flag.tolist() for test, flag in results.items()
    }


@given(flags)
def test_the_flag_agrees_with_the_open_implementation(rows: list[list[int]]) -> None:
    table = np.array(rows, np.int8)
    code = pack({test: table[:, place] for place, test in enumerate(RESULTS)}, len(rows))
    assert roll_up(code).tolist() == qartod_compare(list(table.T)).tolist()


def test_the_flag_agrees_with_the_published_vectors() -> None:
    # source: [IOOS-QARTOD-TESTS] test_qartod_compare, without the rows in which all are missing;
    # a missing result is one that is not evaluated
    rows = np.array([[1, 1, 1, 2, 1, 1], [2, 1, 1, 1, 1, 1], [1, 3, 3, 4, 3, 1]], np.int8)
    code = pack(dict(zip(TESTS, rows, strict=False)), 6)
    assert roll_up(code).tolist() == [1, 3, 3, 4, 3, 1]


def test_a_reading_that_no_test_judged_is_not_evaluated() -> None:
    assert roll_up(np.zeros(1, np.int32)).tolist() == [NOT_EVALUATED]


def test_a_code_stored_before_a_test_was_added_reads_it_as_not_evaluated() -> None:
    assert unpack(pack({"gross_range": np.array([FAIL], np.int8)}, 1))["neighbours"] == [2]


def test_what_a_provider_says_has_the_place_that_stored_readings_have() -> None:
    # by hand: suspect is 2, in the two bits from the 28th on
    assert pack_provider(np.array([True, False])).tolist() == [2 << 28, 0]


def test_the_places_stay_as_every_stored_reading_has_them() -> None:
    assert TESTS[:9] == (
        *("gross_range", "power_on", "spike", "rate_of_change", "flat_line", "attenuated"),
        *("climatology", "daily_range", "neighbours"),
    )


def test_range_only_means_gross_range() -> None:
    assert CHECKS["range-only"] == ("gross_range",)
