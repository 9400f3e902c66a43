"""A real OpenID Connect provider for the tests, run by the Python of .venv-peers.

    .venv-peers/bin/python tests/peers/openid_site.py FOLDER BACK

It keeps an SQLite file in FOLDER, lets people back to the address BACK, listens on a free port of
this machine, says its issuer on one line, and serves until it is ended. Its people are named as
their mail addresses are; those of "unconfirmed" are not confirmed. They all have the password
"of the provider".
"""

# pyright: reportMissingImports=false

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer

import django
from django.conf import settings
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.urls import include, path
from jwcrypto.jwk import JWK

PEOPLE = ("ada@example.org", "eve@example.org", "unconfirmed@example.org")
LOGIN = "<form method=post>{% csrf_token %}{{ form }}<button>Log in</button></form>"


def main() -> None:
    """Make the tables, say the address, serve."""
    folder, back = sys.argv[1:]
    server = WSGIServer(("127.0.0.1", 0), WSGIRequestHandler)
    issuer = f"http://127.0.0.1:{server.server_port}/o"
    key = JWK.generate(kty="RSA", size=2048).export_to_pem(private_key=True, password=None)
    database = {"ENGINE": "django.db.backends.sqlite3", "NAME": Path(folder, "provider.sqlite3")}
    templates = {"registration/login.html": LOGIN}
    settings.configure(
        SECRET_KEY="of the tests",  # noqa: S106
        ALLOWED_HOSTS=["127.0.0.1"],
        DATABASES={"default": database | {"OPTIONS": {"init_command": "pragma synchronous = off"}}},
        INSTALLED_APPS=[
            "django.contrib.auth",
            "django.contrib.contenttypes",
            "django.contrib.sessions",
            "oauth2_provider",
        ],
        MIDDLEWARE=[
            "django.contrib.sessions.middleware.SessionMiddleware",
            "django.middleware.csrf.CsrfViewMiddleware",
            "django.contrib.auth.middleware.AuthenticationMiddleware",
        ],
        PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"],
        TEMPLATES=[
            {
                "BACKEND": "django.template.backends.django.DjangoTemplates",
                "OPTIONS": {
                    "loaders": [("django.template.loaders.locmem.Loader", templates)],
                    "context_processors": ["django.template.context_processors.request"],
                },
            }
        ],
        ROOT_URLCONF=__name__,
        USE_TZ=True,
        OAUTH2_PROVIDER={
            "OIDC_ENABLED": True,
            "OIDC_ISS_ENDPOINT": issuer,
            "OIDC_RSA_PRIVATE_KEY": key.decode(),
            "OAUTH2_VALIDATOR_CLASS": f"{__name__}.make_validator",
            "SCOPES": {"openid": "who you are", "email": "your mail address"},
        },
    )
    django.setup()
    call_command("migrate", verbosity=0)
    _fill(back)
    globals()["urlpatterns"] = _find_urls()
    server.set_app(get_wsgi_application())
    print(issuer, flush=True)  # noqa: T201 (whoever started it reads this)
    server.serve_forever()


def make_validator(*arguments: Any, **words: Any) -> Any:
    """Return what tells the claims of a person."""
    from oauth2_provider.oauth2_validators import OAuth2Validator

    class Validator(OAuth2Validator):
        oidc_claim_scope = None

        def get_additional_claims(self, request: Any) -> dict[str, Any]:
            email = request.user.email
            return {"email": email, "email_verified": not email.startswith("unconfirmed")}

    return Validator(*arguments, **words)


def _fill(back: str) -> None:
    from django.contrib.auth.models import User
    from oauth2_provider.models import Application

    for email in PEOPLE:
        User.objects.create_user(email, email, "of the provider")
    Application.objects.create(
        client_id="digseason",
        client_secret="known to both",  # noqa: S106
        client_type=Application.CLIENT_CONFIDENTIAL,
        authorization_grant_type=Application.GRANT_AUTHORIZATION_CODE,
        algorithm=Application.RS256_ALGORITHM,
        redirect_uris=back,
        skip_authorization=True,
    )


def _find_urls() -> list[Any]:
    from django.contrib.auth.views import LoginView

    return [
        path("accounts/login/", LoginView.as_view()),
        path("o/", include("oauth2_provider.urls", namespace="oauth2_provider")),
    ]


if __name__ == "__main__":
    main()
