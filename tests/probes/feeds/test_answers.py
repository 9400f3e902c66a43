"""What JSON answers have in common: what is no JSON, and what a store can keep of it."""

from __future__ import annotations

import pytest

from probes.feeds.answers import load_answer, show
from probes.feeds.contract import FeedAnswerError


@pytest.mark.parametrize(
    "content", [b"", b"<html>busy</html>", b'{"value": [', b"\xff", b"[" * 99999]
)
def test_what_is_no_json_is_refused_with_its_beginning(content: bytes) -> None:
    with pytest.raises(FeedAnswerError, match="no JSON but"):
        load_answer(content)


def test_half_a_character_is_shown_in_a_form_that_a_database_takes() -> None:
    assert show(load_answer(rb'"\ud800 \u0000"')) == r'"? \u0000"'
