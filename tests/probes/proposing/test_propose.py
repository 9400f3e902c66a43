"""Proposing layouts: what the files of the corpus show, and what they leave open."""

from __future__ import annotations

from functools import cache

import pytest

from probes.logger_files import FileRefused
from probes.proposing.proposal import FOUND, UNDECIDED, Proposal
from probes.proposing.propose import propose_layout
from tests.corpus import CASES, CORPUS, NOW, Case

NOTHING = {
    case.path.name: case.spec["not_proposed"] for case in CASES if "not_proposed" in case.spec
}
PROPOSED = [case for case in CASES if case.path.name not in NOTHING]


def name_of(case: Case) -> str:
    return case.path.name


@cache
def proposal_of(name: str) -> Proposal:
    return propose_layout(CORPUS / name, NOW)


@pytest.mark.parametrize("case", PROPOSED, ids=name_of)
def test_what_a_file_shows_is_found_and_what_nothing_in_it_decides_stays_open(case: Case) -> None:
    proposal = proposal_of(case.path.name)
    found = {each.key: each.value for each in proposal.findings if each.certainty == FOUND}
    expected = case.spec.get("propose", {})
    assert {key: found.get(key) for key in expected} == expected
    if "refused" not in case.spec:
        undecided = [each.key for each in proposal.findings if each.certainty == UNDECIDED]
        assert undecided == case.spec.get("open", [])
        assert proposal.is_decided == (not undecided)


@pytest.mark.parametrize("name", NOTHING)
def test_where_nothing_can_be_proposed_it_says_why(name: str) -> None:
    case = next(case for case in CASES if case.path.name == name)
    with pytest.raises(FileRefused) as caught:
        propose_layout(case.path, NOW)
    assert NOTHING[name] in str(caught.value)
