"""The state of a block today, in the words that people read."""

from datetime import date, timedelta

import numpy as np
import pytest

from alerts.rules import GRAPE_PHYLLOXERA as RULE
from alerts.states import find_state
from alerts.windows import evaluate
from probes.units import f_to_c


def state_after(*stretches: tuple[str, float], has_basis: bool = True, south: bool = False) -> str:
    """Return the state after stretches of (last day, root zone [degF]) from 1 January 2025."""
    values_c: list[float] = []
    first = date(2025, 7, 1) if south else date(2025, 1, 1)
    for last_day, temp_f in stretches:
        until = (date.fromisoformat(last_day) - first).days + 1
        values_c += [f_to_c(temp_f)] * (until - len(values_c))
    days = np.datetime64(first) + np.arange(len(values_c))
    as_of = first + timedelta(days=len(values_c) - 1)
    series = np.array([values_c])
    (evaluation,) = evaluate(series, days, np.array([south]), RULE, as_of)
    return find_state(evaluation, RULE, south, has_basis, as_of)


NAN = float("nan")
WINTER = ("2025-04-30", 50.0)


# by hand, from the list of states of the window rule: the first that fits
@pytest.mark.parametrize(
    ("stretches", "expected"),
    [
        pytest.param([WINTER], "too cold", id="winter"),
        pytest.param([WINTER, ("2025-05-10", 61.0)], "warming", id="between 60 and 64"),
        pytest.param([WINTER, ("2025-05-10", 65.0)], "open", id="spring is open"),
        pytest.param(
            [WINTER, ("2025-05-10", 65.0), ("2025-05-12", NAN)], "open", id="two days unheard"
        ),
        pytest.param(
            [WINTER, ("2025-05-10", 65.0), ("2025-05-13", NAN)],
            "no recent readings",
            id="three days unheard, though it may well be open",
        ),
        pytest.param(
            [WINTER, ("2025-05-10", 65.0), ("2025-05-20", 55.0)], "paused by cold", id="cold spell"
        ),
        pytest.param([WINTER, ("2025-05-10", 65.0), ("2025-05-20", 90.0)], "too hot", id="hot"),
        pytest.param(
            [WINTER, ("2025-05-10", 65.0), ("2025-05-20", 90.0), ("2025-07-20", 70.0)],
            "resting",
            id="spent while it was too hot, and cooled since: it is not too hot any more",
        ),
        pytest.param([WINTER, ("2025-07-10", 65.0)], "resting", id="spring is spent"),
        pytest.param(
            [WINTER, ("2025-07-10", 70.0), ("2025-08-25", 65.0)], "open", id="fall is open"
        ),
        pytest.param(
            [WINTER, ("2025-07-10", 70.0), ("2025-08-25", 65.0), ("2025-11-01", 50.0)],
            "done for the season",
            id="fall closed cold",
        ),
        pytest.param(
            [("2025-07-14", NAN), ("2025-07-25", 70.0)],
            "spring start not seen",
            id="probes put in on 15 July",
        ),
        pytest.param(
            [("2025-05-14", NAN), ("2025-05-25", 73.0)],
            "spring start not seen",
            id="probes put into warm soil in May",
        ),
        pytest.param([("2025-01-20", 66.0)], "warming", id="warm winter before spring may open"),
        pytest.param([("2025-05-25", NAN)], "no recent readings", id="no reading at all"),
    ],
)
def test_the_first_state_that_fits(stretches, expected) -> None:
    assert state_after(*stretches) == expected


def test_without_a_basis_nothing_else_is_said() -> None:
    assert state_after(WINTER, ("2025-05-10", 65.0), has_basis=False) == "no basis"


def test_south_of_the_equator_the_unseen_start_is_judged_by_the_end_of_december() -> None:
    late = state_after(("2025-12-31", NAN), ("2026-01-12", 70.0), south=True)
    in_time = state_after(("2025-12-01", NAN), ("2025-12-12", 70.0), south=True)
    assert (late, in_time) == ("spring start not seen", "open")
