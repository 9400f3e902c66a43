"""The plan of crew days as PDF."""

from __future__ import annotations

from babel.dates import format_date
from reportlab.platypus import Flowable, Table, TableStyle

from alerts.card import cautions
from alerts.dig.plan import plan_words, tell_left, tell_window
from alerts.figures import locale_of
from service.dig.days import CrewPlan
from service.sheets.pages import Paper, build_pages
from service.sheets.text import BODY, HEAD, HEADING, SMALL, TITLE, paragraph, ruled

_COLUMNS = [0.17, 0.07, 0.24, 0.08, 0.24, 0.2]  # shares of the width


def print_plan(plan: CrewPlan, language: str, paper: Paper) -> bytes:
    """Return the sheet as PDF, the same bytes for the same plan."""
    words = plan_words(language)
    return build_pages(words.title, language, paper, lambda width: _page(plan, language, width))


def _page(plan: CrewPlan, language: str, width: float) -> list[Flowable]:
    words = plan_words(language)
    flow: list[Flowable] = [paragraph(words.title, TITLE)]
    rows = [[paragraph(one, HEAD) for one in words.columns]]
    for one in plan.days:
        block = plan.blocks[one.job.block_id]
        cells = (
            format_date(one.day, "EEE d MMM y", locale_of(language)),
            str(one.crew),
            f"{block.name}, {block.site_name}",
            str(one.vines),
            tell_window(one, language, plan.as_of),
            "",
        )
        rows.append([paragraph(cell, SMALL) for cell in cells])
    if plan.days:
        widths = [share * width for share in _COLUMNS]
        flow.append(Table(rows, colWidths=widths, repeatRows=1, style=TableStyle(ruled())))
    else:
        flow.append(paragraph(words.nothing, BODY))
    if plan.left:
        flow.append(paragraph(words.left, HEADING))
    for block_id, vines in plan.left.items():
        flow.append(paragraph(tell_left(plan.blocks[block_id].name, vines, language), BODY))
    flow += [paragraph(text, BODY) for text in ("", *cautions(language))]
    return flow
