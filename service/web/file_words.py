"""What is said in English of a logger file or a file of vigour, in the language of a visitor.

Commands and the store say it in English; its forms are in file_forms.py. What has none, such as the
words of a library, stays as it is.
"""

from __future__ import annotations

import re
from functools import cache

from alerts.words import translations
from service.web.file_forms import EVIDENCE, FAULTS, OF_VIGOUR, REFUSED_FILES, REJECTS, SIGNS

_FORMS = (*REJECTS, *REFUSED_FILES, *SIGNS, *EVIDENCE, *OF_VIGOUR, *FAULTS)


def tell_of_file(text: str, language: str) -> str:
    """Return what is said of a file in a language: one form, or several with semicolons between."""
    if language == "en":
        return text
    parts, told = text.split("; "), list[str]()
    while parts:
        end, found = len(parts), _find("; ".join(parts), language)
        while found is None and end > 1:
            end -= 1
            found = _find("; ".join(parts[:end]), language)
        told.append(parts[0] if found is None else found)
        del parts[:end]
    return "; ".join(told)


def _find(text: str, language: str) -> str | None:
    for form in _FORMS:
        found = _pattern(form).fullmatch(text)
        if found:
            parts = {name: tell_of_file(said, language) for name, said in found.groupdict().items()}
            return translations(language).gettext(form).format(**parts)
    return None


@cache
def _pattern(form: str) -> re.Pattern[str]:
    """Return what a text of a form looks like."""
    return re.compile(re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>.*?)", re.escape(form)), re.DOTALL)
