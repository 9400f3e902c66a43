"""What is said in English of the files of the corpus is read in Spanish, by its form."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator

import pytest

from probes.logger_files import FileRefused
from probes.proposing.clocks import Place
from probes.proposing.propose import propose_layout
from service.web.file_forms import EVIDENCE, FAULTS, OF_VIGOUR, REFUSED_FILES, REJECTS, SIGNS
from service.web.file_words import tell_of_file
from tests.corpus import CASES, CORPUS, FILES, NOW

ENGLISH = re.compile(r"\b(the|of|is|are|with|which|that|and|it|has|from|where|there|on|rows)\b")
"""Words that no Spanish has."""
QUOTED = re.compile(r"\([^()]*\)|«[^»]*»|\"[^\"]*\"|'[^']*'|\w+\.(?:csv|txt|xlsx|tsv)")
PLACE = Place("Alder Bench", "America/Los_Angeles", -123.2)


def of_cases() -> Iterator[str]:
    """Yield what becomes of the cases: why rows are rejected, why a file is not read."""
    for case in CASES:
        try:
            yield from (one.reason for one in case.read().rejects)
        except FileRefused as error:
            yield str(error).removeprefix(f"{case.path.name}: ")


def of_layouts() -> Iterator[str]:
    """Yield what is found of the layout of each file, with a place and without."""
    for name in FILES:
        for places in ([], [PLACE]):
            try:
                found = propose_layout(CORPUS / name, NOW, places).findings
            except FileRefused as error:
                yield str(error).removeprefix(f"{name}: ")
            else:
                yield from (one.evidence for one in found)


def find_english(said: set[str]) -> dict[str, str]:
    """Return what is still English in Spanish; quotes and the words of libraries left out."""
    told = {one: tell_of_file(one, "es") for one in sorted(said)}
    return {one: es for one, es in told.items() if ENGLISH.search(QUOTED.sub("", es))}


def test_what_is_said_of_a_file_that_is_read_has_no_english_left() -> None:
    said = {*of_cases()}
    assert len(said) > 50
    assert find_english(said) == {}


@pytest.mark.long
def test_what_is_found_of_its_layout_has_no_english_left() -> None:
    said = {*of_layouts()}
    assert len(said) > 100
    assert find_english(said) == {}


@pytest.mark.parametrize("form", [*REJECTS, *REFUSED_FILES, *SIGNS, *EVIDENCE, *OF_VIGOUR, *FAULTS])
def test_a_form_is_told_as_itself(form: str) -> None:
    names = re.findall(r"\{(\w+)\}", form)
    said = form.format(**{name: f"7{name}" for name in names})
    told = tell_of_file(said, "es")
    assert not ENGLISH.search(QUOTED.sub("", re.sub(r"7\w+", "", told)))
    assert tell_of_file(said, "en") == said


@pytest.mark.parametrize(
    "said",
    [
        pytest.param("x; " * 3_333, id="many parts"),
        pytest.param("but " * 2_500, id="a form in itself, again and again"),
        pytest.param("comes too late: " * 150, id="the same within the bounds"),
        pytest.param("x; " * 59, id="parts of no form, within the bounds"),
        pytest.param(
            f"rows {' to ' * 90}{' with vines ' * 90}{' to ' * 90}{' are more than ' * 90}",
            id="the pieces of a form without its end",
        ),
    ],
)
def test_what_is_said_without_end_costs_little(said: str) -> None:
    tell_of_file("x", "es")  # the catalogue is read once
    begun_s = time.process_time()
    told = tell_of_file(said, "es")
    assert time.process_time() - begun_s < 1.0  # generous: hundredths are usual
    assert told.count("; ") == said.count("; ")
