"""The words of a chart say what is to be seen in it."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from alerts.chart import BlockChart, describe_chart, tell_days, word_chart
from alerts.windows import Span
from tests.charts import DAYS, make_chart

GAP = make_chart().mean_c.copy()
GAP[30:40] = np.nan
MAR_1, SEP_1 = date(2025, 3, 1), date(2025, 9, 1)


@pytest.mark.parametrize(
    ("chart", "says"),
    [
        pytest.param(
            make_chart(),
            "Chart of the root zone (15-45 cm), five-day mean: 50.0 °F on 12 July, 66.0 °F on "
            "10 October. Open, shaded, since 4 October. Likely open, in a lighter shade, from "
            "10 October to 15 November. On 24 November it is likely, eight times in ten, at "
            "65.0 °F to 75.0 °F.",
            id="all there is",
        ),
        pytest.param(
            make_chart(mean_c=GAP, fan=None, expected=None),
            "66.0 °F on 10 October. Readings are missing for some of these days. Open",
            id="a gap",
        ),
        pytest.param(
            make_chart(estimated=np.datetime64("2025-10-01") < DAYS),
            "66.0 °F on 10 October. The dashed part of the line is estimated.",
            id="estimated",
        ),
        pytest.param(
            make_chart(
                spans=[
                    Span(2024, "fall", MAR_1, MAR_1, date(2025, 6, 1), "cold"),
                    # by hand: the last day on which it is open is the one before it closes
                    Span(2025, "spring", SEP_1, SEP_1, date(2025, 10, 1), "hot"),
                ]
            ),
            "10 October. Open, shaded, from 1 September to 30 September. Likely",
            id="a window of another time is not in it",
        ),
        pytest.param(
            make_chart(mean_c=np.full(DAYS.size, np.nan), spans=[], fan=None, expected=None),
            "Chart of the root zone (15-45 cm), without readings.",
            id="nothing",
        ),
    ],
)  # fmt: skip
def test_a_chart_is_described(chart: BlockChart, says: str) -> None:
    assert says in describe_chart(chart, "en", "F")


def test_the_words_in_a_chart_are_those_of_the_reader() -> None:
    words = word_chart(make_chart(), "es", "C")
    assert words.months[:2] == ("ene", "feb")  # source: [CLDR]
    assert words.depths == ("15 cm", "45 cm")
    assert words.limits["opens"] == "se abre a 17,8 °C"
    assert words.today == "10 oct"


def test_each_day_of_a_chart_says_what_it_was_or_is_likely_to_be() -> None:
    # by hand: 50 to 66 °F in 91 days, 0.18 a day; probes 1 °C = 1.8 °F above and below
    chart = make_chart(mean_c=GAP)
    said = dict(tell_days(chart, word_chart(chart, "en", "F"), "en", "F"))
    assert said[date(2025, 10, 10)] == (
        "10 October: root zone 15-45 cm, five-day mean 66.0 °F; 15 cm 67.8 °F; 45 cm 64.2 °F"
    )
    assert said[date(2025, 8, 11)] == "11 August: 15 cm 57.1 °F; 45 cm 53.5 °F"
    assert said[date(2025, 11, 24)] == (
        "24 November: outlook 70.0 °F, in 8 of 10 cases 65.0 °F to 75.0 °F"
    )
    assert len(said) == (date(2025, 11, 24) - date(2025, 7, 12)).days + 1
