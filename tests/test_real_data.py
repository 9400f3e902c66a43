"""Real data that is not there fails the test that needs it, and says what to do."""

from __future__ import annotations

import pytest

from tests.real_data import DataFile, need


def test_a_missing_file_fails_with_the_command_that_fetches_it() -> None:
    with pytest.raises(FileNotFoundError, match=r"python tests/real_data\.py"):
        need(DataFile("nowhere", "0", "0" * 64, "none.csv"))
