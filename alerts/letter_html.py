"""A letter as HTML that mail programs show: one column, inline styles, nothing from elsewhere."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from alerts.colours import DAY, NIGHT
from alerts.letter import Letter
from alerts.lines import bind_numbers


def write_html(letter: Letter) -> str:
    """Return a letter as HTML, with the words of its plain text."""
    return _template().render(letter=letter)


@cache
def _template() -> Template:
    loader = PackageLoader("alerts")
    environment = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["bind"] = bind_numbers
    environment.globals |= {"day": DAY, "night": NIGHT}
    return environment.get_template("letter.html")
