"""Pages: Jinja templates in the reader's language, and what was filled in on them."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from http import HTTPStatus
from importlib.resources import files
from typing import Any

from babel.core import negotiate_locale
from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from alerts.words import LANGUAGES, translations
from service.web.colours import write_sheet
from service.web.problems import Problem

STATIC = files("service.web").joinpath("static")
SHEETS = {"colours.css": lambda: write_sheet().encode()}
"""Static files that are written and not read, by name."""
MOST_FIELDS, LONGEST_FIELD = 200, 10_000

Fields = dict[str, str]
"""What was filled in, by the names of a form: each once, without blanks around it."""


def answer_page(
    request: Request, template: str, status: int = HTTPStatus.OK, **values: Any
) -> HTMLResponse:
    """Return a page; `template` extends base.html, and has `values`, `who`, `language` and `_`.

    `who` is the visitor, or None where the route lets anyone in without asking.
    """
    language = values.pop("language", None) or choose_language(request)
    known = {"language": language, "who": getattr(request.state, "visitor", None)}
    page = _environment(language).get_template(template).render(known | values)
    return HTMLResponse(page, status)


def answer_dead_link(request: Request) -> HTMLResponse:
    """Answer that a link does not hold."""
    return answer_page(request, "dead_link.html", HTTPStatus.NOT_FOUND)


def choose_language(request: Request) -> str:
    """Return the language of the visitor, or the one their browser prefers of those we have."""
    visitor = getattr(request.state, "visitor", None)
    if visitor is not None and visitor.account.language:
        return visitor.account.language
    header = request.headers.get("accept-language", "")
    wanted = [one.partition(";")[0].strip() for one in header.split(",")]
    return negotiate_locale(wanted, LANGUAGES, sep="-") or "en"


async def read_form(request: Request) -> FormData:
    """Return what a form holds, files among it."""
    try:
        return await request.form(
            max_fields=MOST_FIELDS, max_files=MOST_FIELDS, max_part_size=LONGEST_FIELD
        )
    except HTTPException as error:
        raise Problem(HTTPStatus.BAD_REQUEST, f"this form cannot be read: {error.detail}") from None


async def read_fields(request: Request) -> Fields:
    """Return the fields of a form, each of bounded length."""
    form = await read_form(request)
    return {
        name: value.replace("\0", "")[:LONGEST_FIELD].strip()
        for name, value in form.items()
        if not isinstance(value, UploadFile)
    }


@cache
def address_static(name: str) -> str:
    """Return the address of a static file, which changes with what it holds."""
    content = SHEETS[name]() if name in SHEETS else STATIC.joinpath(name).read_bytes()
    version = sha256(content).hexdigest()[:12]
    return f"/static/{name}?v={version}"


@cache
def _environment(language: str) -> Environment:
    environment = Environment(
        loader=PackageLoader("service.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    words = translations(language)
    environment.install_gettext_callables(words.gettext, words.ngettext)  # type: ignore[attr-defined] (of the extension)
    environment.globals["static"] = address_static
    return environment
