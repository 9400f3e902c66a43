"""What a gateway's answer says, as its expressions read it.

An expression is JMESPath over the answer as JSON, messages[0].status == 'queued', or a regular
expression between slashes over its text, /^OK: (\\d+)/, of which the first group counts.
"""

from __future__ import annotations

import json
import re
from typing import Any

_RANGE = re.compile(r"([1-5]\d\d)(?:-([1-5]\d\d))?")


def check_expression(text: str) -> str:
    """Refuse what is neither JMESPath nor a regular expression between slashes."""
    import jmespath  # only where there is a gateway
    import jmespath.exceptions

    if not text:
        return text
    try:
        if _is_pattern(text):
            re.compile(text[1:-1])
        else:
            jmespath.compile(text)
    except re.error as error:
        raise ValueError(f"is no regular expression: {error}") from None
    except jmespath.exceptions.JMESPathError as error:
        why = str(error).splitlines()[0].rstrip(":")
        raise ValueError(
            f"is no JMESPath ({why}); write it like messages[0].status == 'queued', or a regular "
            "expression between slashes"
        ) from None
    return text


def read_answer(expression: str, body: str) -> Any:
    """Return what an expression finds in an answer; None: nothing."""
    import jmespath
    import jmespath.exceptions

    if _is_pattern(expression):
        found = re.search(expression[1:-1], body)
        return found and found[found.re.groups and 1]
    try:
        return jmespath.search(expression, json.loads(body))
    except (ValueError, RecursionError, jmespath.exceptions.JMESPathError):
        return None  # it is no JSON, or not of that shape


def holds(expression: str, body: str) -> bool:
    """Whether an expression finds something that is true, as JMESPath has it: a number is."""
    found = read_answer(expression, body)
    return found not in (None, False, "", [], {}) or (found == 0 and found is not False)


def check_statuses(text: str) -> str:
    """Refuse what is no list of HTTP statuses."""
    for part in _parts(text):
        if not _RANGE.fullmatch(part):
            raise ValueError('write statuses and ranges of them, such as "200-299, 409"')
    return text


def is_among(status: int, statuses: str) -> bool:
    """Whether a status is in a list of statuses and ranges."""
    for part in _parts(statuses):
        first, _, last = part.partition("-")
        if int(first) <= status <= int(last or first):
            return True
    return False


def _parts(text: str) -> list[str]:
    return [part for part in text.replace(",", " ").split() if part]


def _is_pattern(text: str) -> bool:
    return len(text) > 2 and text[0] == text[-1] == "/"
