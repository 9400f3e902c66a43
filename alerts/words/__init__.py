"""The words of every message: English in the code, other languages in one .po file each.

The catalogues are read when they are first needed; nothing compiled is kept.
"""

from __future__ import annotations

from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files
from io import BytesIO

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

_CATALOGUES = {
    entry.name.removesuffix(".po"): entry
    for entry in files(__name__).iterdir()
    if entry.name.endswith(".po")
}

LANGUAGES = ("en", *sorted(_CATALOGUES))


@cache
def translations(language: str) -> NullTranslations:
    """Return the words of a language, for gettext and ngettext.

    Raises
    ------
    ValueError
        When there is no catalogue for it.
    """
    if language == "en":
        return NullTranslations()
    if language not in _CATALOGUES:
        raise ValueError(f"no words in '{language}'; write one of {', '.join(LANGUAGES)}")
    compiled = BytesIO()
    with _CATALOGUES[language].open("rb") as lines:
        write_mo(compiled, read_po(lines, locale=language))
    compiled.seek(0)
    return GNUTranslations(compiled)
