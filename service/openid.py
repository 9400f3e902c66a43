"""Signing in by an OpenID Connect provider: where a browser is sent, and whom it vouches for."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import requests
from authlib.common.errors import AuthlibBaseError
from authlib.integrations.base_client import BaseApp, OAuth2Mixin, OpenIDMixin
from authlib.integrations.requests_client import OAuth2Session
from joserfc.errors import JoseError

from service.fetching.deadlines import TimedAdapter, within
from service.fetching.http import read_begin
from service.settings import Settings

TIMEOUT_S = 10
WHOLE_ANSWER_S = 30  # a server that sends a byte now and then keeps within TIMEOUT_S
LARGEST_BYTES = 2**20  # a description and keys come to some ten thousand
LEEWAY_S = 60
"""How far the provider's clock may be off."""


_FAULTS = (AuthlibBaseError, JoseError, requests.RequestException, RuntimeError, ValueError)
_FAULTS += (TypeError, LookupError, AttributeError)  # of an answer that is no such thing at all


class ProviderError(Exception):
    """Why a provider lets no one in; for the log of whoever set it up."""


@dataclass(frozen=True)
class Begun:
    """What a browser keeps while it is with the provider; nothing of it is guessed.

    state : ties the answer to this browser
    nonce : ties what is vouched for to this request
    verifier : ties the code of the answer to who asked [RFC-7636]
    """

    state: str
    nonce: str
    verifier: str


class _Adapter(TimedAdapter):
    """Hands on answers that are read whole, and none that is larger than any provider's."""

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> Any:
        """Ask, and read what is answered."""
        answer = super().send(request, *args, **kwargs)
        content = read_begin(answer, LARGEST_BYTES + 1)
        if len(content) > LARGEST_BYTES:
            answer.close()
            raise requests.RequestException(
                f"{request.url}: the answer is larger than {LARGEST_BYTES:,} bytes; "
                "check DIGSEASON_OIDC_ISSUER"
            )
        answer._content = content  # where requests keeps what it has read
        return answer


class _Session(OAuth2Session):
    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for scheme in ("http://", "https://"):
            self.mount(scheme, _Adapter())  # pyright: ignore[reportAttributeAccessIssue]


class _Client(OpenIDMixin, OAuth2Mixin, BaseApp):
    client_cls = _Session


class Provider:
    """The provider that is set up, as it describes itself at its well-known address [OIDC-CORE]."""

    def __init__(self, settings: Settings) -> None:
        self.issuer = settings.oidc_issuer
        self._back = f"{settings.base_url.rstrip('/')}/sign-in/provider/back"
        self._id = settings.oidc_client_id
        self._client: Any = _Client(
            framework=None,
            client_id=self._id,
            client_secret=settings.oidc_client_secret.get_secret_value(),
            server_metadata_url=f"{self.issuer.rstrip('/')}/.well-known/openid-configuration",
            client_kwargs={
                "scope": "openid email",
                "code_challenge_method": "S256",
                "default_timeout": TIMEOUT_S,
            },
        )

    def begin(self) -> tuple[str, Begun]:
        """Return the address at the provider, and what the browser keeps meanwhile."""
        with _telling():
            self._check_issuer()
            begun = self._client.create_authorization_url(self._back)
        return begun["url"], Begun(begun["state"], begun["nonce"], begun["code_verifier"])

    def find_email(self, code: str, begun: Begun) -> str:
        """Return the confirmed mail address of whom it vouches for."""
        with _telling():
            self._check_issuer()
            token = self._client.fetch_access_token(
                self._back,
                code=code,
                code_verifier=begun.verifier,
                grant_type="authorization_code",
            )
            known = self._client.parse_id_token(
                token,
                begun.nonce,
                leeway=LEEWAY_S,
                claims_options={
                    "iss": {"essential": True, "value": self.issuer},
                    "aud": {"essential": True, "value": self._id},
                },
            )
        if known is None:
            raise ProviderError("its answer holds no ID token")
        if known.get("email_verified") is not True or not isinstance(known.get("email"), str):
            raise ProviderError("it does not say that the mail address is confirmed")
        return known["email"].strip().lower()

    def _check_issuer(self) -> None:
        said = self._client.load_server_metadata()["issuer"]
        if said != self.issuer:  # [OIDC-DISCOVERY] 4.3
            raise ProviderError(f"it calls itself {said!r}; DIGSEASON_OIDC_ISSUER is another")


@contextmanager
def _telling() -> Iterator[None]:
    try:
        with within(WHOLE_ANSWER_S):
            yield
    except _FAULTS as error:
        raise ProviderError(f"{type(error).__name__}: {error}") from error
