"""The corpus: each file comes out right, or is refused with the line and the reason."""

from __future__ import annotations

import numpy as np
import pytest

from probes.frames import LoggerFile
from probes.logger_files import FileRefused
from tests.corpus import CASES, FILES, Case

READ = [case for case in CASES if "rows" in case.spec]
REFUSED = [case for case in CASES if "refused" in case.spec]


def name_of(case: Case) -> str:
    return case.path.name


def rows_of(file: LoggerFile) -> list[str]:
    """Return the rows as cases.toml writes them."""
    return [
        " ".join(
            [str(instant)[:16], *("-" if np.isnan(c) else f"{round(c, 9):g}" for c in temps_c)]
        )
        for instant, temps_c in zip(file.observed_at, file.soil_temp_c, strict=True)
    ]


@pytest.mark.parametrize("case", READ, ids=name_of)
def test_readings_and_counts_are_those_of_the_file_and_the_rest_is_told_with_its_reason(
    case: Case,
) -> None:
    file = case.read()
    assert rows_of(file) == case.rows
    expected = case.spec.get("rejects", [])
    found = [
        (reject.line, reason if reason in reject.reason else reject.reason)
        for reject, (_, reason) in zip(file.rejects, expected, strict=True)
    ]
    assert found == [tuple(each) for each in expected]
    counts = case.spec.get("missing", 0), case.spec.get("others", 0)
    assert (file.missing, file.others) == counts


@pytest.mark.parametrize("case", REFUSED, ids=name_of)
def test_a_file_is_refused_with_its_name_and_the_reason(case: Case) -> None:
    with pytest.raises(FileRefused) as caught:
        case.read()
    assert str(caught.value).startswith(f"{case.path.name}: ")
    assert case.spec["refused"] in str(caught.value)


def test_every_file_has_its_case() -> None:
    assert len(FILES) >= 60
    assert {case.path.name for case in CASES} == set(FILES)
