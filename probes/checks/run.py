"""All checks of a logger's probes, one after the other."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from probes.checks.gross_range import flag_gross_range
from probes.checks.results import TESTS, pack
from probes.checks.series import ProbeSeries
from probes.checks.thresholds import Thresholds


def check_logger(
    probes: Sequence[ProbeSeries],
    thresholds: Thresholds | None = None,
    tests: Collection[str] = TESTS,
) -> list[NDArray[np.int32]]:
    """Return the code of every reading of a logger (`unpack` and `roll_up` read it).

    Parameters
    ----------
    probes : sequence of ProbeSeries
        All probes of one logger, in any order: neighbours are judged by each other.
    thresholds : Thresholds, optional
        The defaults where left out.
    tests : collection of str
        Of TESTS; the others are not evaluated. CHECKS gives those of a site's key.

    Returns
    -------
    codes : list of array of int32, one of shape (n,) for each series
    """
    thresholds = thresholds or Thresholds()
    return [
        pack(
            {"gross_range": flag_gross_range(probe.soil_temp_c, thresholds.gross_range)},
            probe.observed_at.size,
        )
        for probe in probes
        if "gross_range" in tests
    ]


def explain(
    test: str,
    probes: Sequence[ProbeSeries],
    probe: int,
    place: int,
    thresholds: Thresholds | None = None,
) -> str:
    """Return in words, with the numbers, why a test gave a reading its result.

    Parameters
    ----------
    test : str
        Of TESTS.
    probes : sequence of ProbeSeries
        As for `check_logger`; from `reach` before to after the reading is enough.
    probe, place : int
        The series in `probes`, and the reading in it.
    thresholds : Thresholds, optional
    """
    del test, probes, probe, place, thresholds
    return ""
