"""Imports withdrawn and restored: by hand, with the words that go with it."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine

from service.intake.known import WithdrawnError
from service.intake.retelling import Retold
from service.intake.undoing import ImportStandsError, restore, withdraw
from service.store.changes import fetch_changes
from service.store.engine import reading, writing
from service.store.imports import UnknownImportError, fetch_batch
from service.store.rounds import begin_round, finish_round, is_evaluation_due
from tests.imported import NOW, counts, import_log, kept, set_up, write_log


@pytest.fixture
def farm(engine: Engine, tmp_path: Path) -> Engine:
    """A store with an import of hours 1 and 2, and one of hours 2 and 3 that differs at 2."""
    set_up(engine)
    import_log(engine, write_log(tmp_path / "one.csv", {1: (14.0, 15.0), 2: (14.0, 15.0)}))
    import_log(engine, write_log(tmp_path / "two.csv", {2: (14.0, 19.0), 3: (14.0, 15.0)}))
    return engine


def take_back(engine: Engine, number: int) -> Retold:
    with writing(engine) as connection:
        return withdraw(connection, number, "Ada Example", "of another block", NOW)


def test_what_a_later_import_repeated_or_contradicted_comes_back_from_it(farm: Engine) -> None:
    # by hand: hour 1 goes at both depths, hour 2 keeps 14.0 and becomes 19.0
    assert take_back(farm, 1) == Retold(new=0, gone=2, changed=1)
    assert [value for *_, value, _ in kept(farm)["reading"]] == [14.0, 14.0, 19.0, 15.0]
    assert kept(farm)["conflict"] == []
    with reading(farm) as connection:
        two = fetch_batch(connection, 2)
    assert (two.inserted, two.identical, two.conflicting) == (4, 0, 0)


def test_who_withdrew_and_why_is_kept_with_the_counts_of_then(farm: Engine) -> None:
    take_back(farm, 1)
    with reading(farm) as connection:
        one = fetch_batch(connection, 1)
    assert (one.withdrawn_by, one.withdrawn_why) == ("Ada Example", "of another block")
    assert (one.withdrawn_at, one.inserted) == (NOW, 4)


def test_restored_is_as_never_withdrawn(farm: Engine) -> None:
    before = kept(farm)
    take_back(farm, 1)
    with writing(farm) as connection:
        restore(connection, 1)
    assert kept(farm) == before


def test_the_content_that_was_withdrawn_comes_in_again_only_when_it_is_restored(
    farm: Engine, tmp_path: Path
) -> None:
    take_back(farm, 1)
    with pytest.raises(WithdrawnError, match=r"Ada Example withdrew: .*imports restore 1"):
        import_log(farm, tmp_path / "one.csv")
    with pytest.raises(WithdrawnError):
        import_log(farm, tmp_path / "one.csv", dry_run=True)


def test_content_that_another_import_still_holds_may_be_imported_again(
    farm: Engine, tmp_path: Path
) -> None:
    import_log(farm, tmp_path / "one.csv")
    take_back(farm, 1)
    assert counts(import_log(farm, tmp_path / "one.csv"))[0] == 0


def test_a_withdrawal_makes_a_round_due(farm: Engine) -> None:
    now = NOW + timedelta(minutes=1)
    with writing(farm) as connection:
        finish_round(
            connection, begin_round(connection, None, now), now, 1, 0, fetch_changes(connection)
        )
        assert not is_evaluation_due(connection, now)
        withdraw(connection, 1, "Ada Example", "of another block", now + timedelta(minutes=1))
        assert is_evaluation_due(connection, now + timedelta(minutes=1))


def test_an_import_is_withdrawn_once_and_restored_only_then(farm: Engine) -> None:
    take_back(farm, 1)
    with pytest.raises(ImportStandsError, match="withdrawn already, by Ada Example"):
        take_back(farm, 1)
    with writing(farm) as connection, pytest.raises(ImportStandsError, match="not withdrawn"):
        restore(connection, 2)


def test_an_import_that_never_was_is_none(farm: Engine) -> None:
    with pytest.raises(UnknownImportError, match="no import 9"):
        take_back(farm, 9)
