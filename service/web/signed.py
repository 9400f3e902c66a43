"""Bodies that another machine signs with a secret it shares with us.

The signature is the HMAC-SHA-256 [RFC-2104] of the body as it is sent, in hexadecimal digits after
"sha256=".
"""

from __future__ import annotations

import hmac
from http import HTTPStatus
from typing import Any

from fastapi import Request
from pydantic import SecretStr

from service.web.bearer import Door
from service.web.problems import Problem, describe_refusals

HEADER = "X-Digseason-Signature"
PARAMETER: dict[str, Any] = {
    "name": HEADER,
    "in": "header",
    "required": True,
    "schema": {"type": "string"},
    "description": 'the HMAC-SHA-256 of the body, as "sha256=" and hex digits',
}
REFUSALS = describe_refusals(
    UNAUTHORIZED="the signature is not that of the body",
    NOT_FOUND="no secret is set",
    REQUEST_ENTITY_TOO_LARGE="too many bytes",
    UNPROCESSABLE_ENTITY="the body is not of this form",
)


async def read_signed(request: Request, door: Door, secret: SecretStr, setting: str) -> bytes:
    """Return the body of a request, or refuse it."""
    key = secret.get_secret_value()
    if not key:
        raise Problem(HTTPStatus.NOT_FOUND, f"set {setting} to open this door")
    body = await door.read_body(request)
    signed = f"sha256={hmac.digest(key.encode(), body, 'sha256').hex()}"
    given = request.headers.get(HEADER, "").lower()
    if not hmac.compare_digest(signed.encode(), given.encode("utf-8", "replace")):
        raise Problem(HTTPStatus.UNAUTHORIZED, f"sign the body in {HEADER}: sha256=...")
    return body
