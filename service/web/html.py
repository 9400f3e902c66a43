"""Pages: templates filled with escaped text, and the headers that keep a page to itself."""

from __future__ import annotations

from functools import cache
from html import escape
from importlib.resources import files
from string import Template

from babel.core import negotiate_locale
from fastapi import Request
from fastapi.responses import HTMLResponse

from alerts.words import LANGUAGES

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
}


class Html(str):
    """Text that is HTML already, and is not escaped again."""

    __slots__ = ()


def fill(template: str, **values: str) -> Html:
    """Return a template of the folder templates/ with these values, each escaped that is text."""
    return Html(_template(template).substitute({key: _safe(v) for key, v in values.items()}))


def tag(name: str, /, *content: str, **attributes: str | bool | None) -> Html:
    """Return an element; attributes of None and False are left out."""
    shown = "".join(
        f" {key.rstrip('_')}" if value is True else f' {key.rstrip("_")}="{escape(value)}"'
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    if name == "input":
        return Html(f"<{name}{shown}>")
    return Html(f"<{name}{shown}>{''.join(map(_safe, content))}</{name}>")


def answer_page(title: str, content: Html, language: str, status: int = 200) -> HTMLResponse:
    """Return a whole page."""
    page = fill("base", title=title, content=content, language=language)
    return HTMLResponse(page, status, HEADERS)


def choose_language(request: Request) -> str:
    """Return the language that a browser prefers of those we have."""
    header = request.headers.get("accept-language", "")
    wanted = [one.partition(";")[0].strip() for one in header.split(",")]
    return negotiate_locale(wanted, LANGUAGES, sep="-") or "en"


def _safe(text: str) -> str:
    return text if isinstance(text, Html) else escape(text)


@cache
def _template(name: str) -> Template:
    folder = files("service.web").joinpath("templates")
    return Template(folder.joinpath(f"{name}.html").read_text(encoding="utf-8"))
