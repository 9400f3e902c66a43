"""Pages: Jinja templates in the reader's language, and what was filled in on them."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache, partial
from hashlib import sha256
from http import HTTPStatus
from importlib.resources import files
from typing import Annotated, Any

from babel.core import negotiate_locale
from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from alerts.figures import show_day
from alerts.lines import bind_numbers
from alerts.words import LANGUAGES, translations
from service.web.chart_engine import address_engine
from service.web.colours import write_sheet
from service.web.failure_forms import FAILURES
from service.web.file_words import tell_of_file
from service.web.problems import Problem
from service.web.translating import translate

STATIC = files("service.web").joinpath("static")
SHEETS = {"colours.css": lambda: write_sheet().encode()}
"""Static files that are written and not read, by name."""
MOST_FIELDS, LONGEST_FIELD = 200, 10_000

Fields = dict[str, str]
"""What was filled in, by the names of a form: each once, without blanks around it."""


def answer_page(
    request: Request, template: str, status: int = HTTPStatus.OK, **values: Any
) -> HTMLResponse:
    """Return a page; `template` extends base.html, and has `values`, `who`, `language`, `here`,
    `_` and, for each form, `csrf()`.

    `who` is the visitor, or None where the route lets anyone in without asking; `here` the path.
    """
    language = values.pop("language", None) or choose_language(request)
    visitor = getattr(request.state, "visitor", None)
    known = {"language": language, "who": visitor, "here": request.url.path}
    known["csrf"] = partial(_write_csrf, visitor, f"{request.url}")
    page = _environment(language).get_template(template).render(known | values)
    return HTMLResponse(page, status)


def answer_while_it_holds(
    request: Request, page: Response, vary: str = "Accept-Language, Cookie"
) -> Response:
    """Let the visitor's own browser keep a page: it asks whether the page still holds.

    The tag is also of its Link header, which may change alone [RFC-9110] 13.1.2; it is weak, since
    a page is the same packed or not.
    """
    link = page.headers.get("link", "").encode()
    etag = f'W/"{sha256(link + page.body).hexdigest()[:24]}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache", "Vary": vary}
    kept = [one.strip() for one in request.headers.get("if-none-match", "").split(",")]
    if {"*", etag, etag.removeprefix("W/")} & {*kept}:
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    page.headers.update(headers)
    return page


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
    """Return what a form holds, files among it, which are closed when the request ends."""
    try:
        form = await request.form(
            max_fields=MOST_FIELDS, max_files=MOST_FIELDS, max_part_size=LONGEST_FIELD
        )
    except HTTPException as error:
        raise Problem(HTTPStatus.BAD_REQUEST, f"this form cannot be read: {error.detail}") from None
    request.scope["at_the_end"].push_async_callback(form.close)
    return form


async def read_fields(request: Request) -> Fields:
    """Return the fields of a form, each of bounded length."""
    form = await read_form(request)
    return {
        name: value.replace("\0", "")[:LONGEST_FIELD].strip()
        for name, value in form.items()
        if not isinstance(value, UploadFile)
    }


Filled = Annotated[Fields, Depends(read_fields)]
"""The parameter of a route that takes a form."""
Sent = Annotated[FormData, Depends(read_form)]
"""The same for its files."""


def redirect(path: str) -> RedirectResponse:
    """Answer that what was sent is done, and where to go on."""
    return RedirectResponse(path, HTTPStatus.SEE_OTHER)


@cache
def address_static(name: str) -> str:
    """Return the address of a static file, which changes with what it holds."""
    content = SHEETS[name]() if name in SHEETS else STATIC.joinpath(name).read_bytes()
    return f"/static/{name}?v={sha256(content).hexdigest()[:12]}"


def _write_csrf(visitor: Any, address: str) -> Markup:
    """Return what every form of a visitor holds."""
    token = visitor.write_csrf(address)
    return Markup('<input type="hidden" name="csrf" value="{}">').format(token)


def _show_day(at: datetime, language: str) -> str:
    return bind_numbers(show_day(at.date(), language, datetime.now(UTC).date()))


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
    environment.globals["chart_engine"] = address_engine()
    environment.filters["bound"] = bind_numbers
    environment.filters["day"] = partial(_show_day, language=language)
    environment.filters["of_file"] = partial(tell_of_file, language=language)
    environment.filters["of_failure"] = partial(translate, forms=FAILURES, language=language)
    return environment
