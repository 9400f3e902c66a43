"""Bodies of JSON that hold readings: each is taken or rejected on its own."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from typing import Any, NoReturn, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import PydanticSerializationError

from probes.frames import Reject
from probes.logger_lines import shown

PHRASES = {  # type of pydantic's error -> what it says of a value
    "float_type": "is no number",
    "finite_number": "is no finite number",
    "string_type": "is no text",
    "string_unicode": "is no text",
    "extra_forbidden": "is no key of a reading",
}
FAULTS_TOLD = 5  # of one reading
LONGEST_INT = 300  # digits


class BodyError(ValueError):
    """A body that is not of the agreed form; `lines` holds what is wrong with it."""

    def __init__(self, *lines: str) -> None:
        super().__init__("; ".join(lines))
        self.lines = lines


class Strict(BaseModel):
    """A reading as it must be sent; its docstring stands in the description of the API."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


Form = TypeVar("Form", bound=Strict)


@dataclass(frozen=True)
class _Repeated:
    """An object that names a key twice: readers differ in which they take."""

    key: str
    text: str


def read_readings(body: bytes, form: type[Form], most: int | None = None) -> list[Form | Reject]:
    """Return the readings of a body, in place of each that is not of the form why it is not.

    Parameters
    ----------
    body : bytes
        `{"readings": [...]}`
    form : type of Strict
    most : int, optional
        How many readings a body may hold.

    Raises
    ------
    BodyError
        When the body as a whole is not of this form.
    """
    return [_read(number, one, form) for number, one in enumerate(_list(body, most), start=1)]


def describe_body(form: type[Strict], most: int | None = None) -> dict[str, Any]:
    """Return the schema of a body, for the description of the API."""
    readings = {"type": "array", "minItems": 1, "items": form.model_json_schema()}
    return {
        "type": "object",
        "required": ["readings"],
        "additionalProperties": False,
        "properties": {"readings": readings if most is None else {**readings, "maxItems": most}},
    }


def _list(body: bytes, most: int | None) -> list[Any]:
    try:
        content = json.loads(
            body.decode("utf-8"),
            object_pairs_hook=_each_once,
            parse_int=_whole_number,
            parse_constant=_refuse,
        )
    except UnicodeDecodeError:
        raise BodyError("body: not UTF-8") from None
    except (ValueError, RecursionError) as error:
        raise BodyError(f"body: no JSON: {error}") from None
    if isinstance(content, _Repeated):
        raise BodyError(f"body: holds '{content.key}' twice; send each key once")
    if not isinstance(content, dict) or list(content) != ["readings"]:
        raise BodyError('body: send an object with the one key "readings"')
    readings = content["readings"]
    if not isinstance(readings, list) or not readings:
        raise BodyError("readings: send a list of one reading or more")
    if most is not None and len(readings) > most:
        raise BodyError(f"readings: {len(readings):,} are more than {most:,}; send fewer at once")
    return readings


def _each_once(pairs: list[tuple[str, object]]) -> dict[str, object] | _Repeated:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    twice = Counter(key for key, _ in pairs).most_common(1)[0][0]
    text = ", ".join(f"{_text(key)}: {_text(value)}" for key, value in pairs)
    return _Repeated(shown(twice), shown(f"{{{text}}}"))


def _whole_number(digits: str) -> int | float:
    """Return a number that Python may refuse to read for its length as one beyond all bounds."""
    return int(digits) if len(digits) < LONGEST_INT else float(digits)


def _refuse(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number of JSON")


def _read(number: int, content: Any, form: type[Form]) -> Form | Reject:
    if isinstance(content, _Repeated):
        reason = f"holds '{content.key}' twice; send each key once"
        return Reject(number, reason, content.text, 1)
    sent = _text(content)
    if not isinstance(content, dict):
        return Reject(number, f"is no object; send {_keys(form)}", sent, 1)
    try:
        reading = form.model_validate(content)
        reading.model_dump_json()
    except ValidationError as error:
        return Reject(number, _why(error, form), sent, 1)
    except PydanticSerializationError:
        return Reject(number, "holds half a character, a lone surrogate; send it whole", sent, 1)
    return reading


def _why(error: ValidationError, form: type[Form]) -> str:
    """Return what is wrong with a reading: field, value and reason of each fault."""
    faults = error.errors(include_url=False)
    reasons = []
    for fault in faults[:FAULTS_TOLD]:
        field = shown(".".join(map(str, fault["loc"])))
        if fault["type"] == "value_error":
            reasons.append(fault["msg"].removeprefix("Value error, "))
        elif fault["type"] == "missing":
            reasons.append(f"{field} is missing")
        else:
            phrase = PHRASES.get(fault["type"], f"is refused: {fault['msg']}")
            reasons.append(f"{field} = {_text(fault['input'])} {phrase}")
    if any(fault["type"] == "extra_forbidden" for fault in faults):
        reasons.append(f"the keys are {_keys(form)}")
    return "; ".join(reasons)


def _keys(form: type[Form]) -> str:
    return ", ".join(form.model_fields)


def _text(content: Any) -> str:
    """Return a value as it may have been sent, in ASCII: a lone surrogate cannot be stored."""
    return shown(json.dumps(content, default=lambda _: {}))
