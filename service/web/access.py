"""Who may use a route: each route says so, and none is served that does not."""

from __future__ import annotations

from fastapi import Depends, FastAPI
from fastapi.routing import APIRoute


class Rule:
    """Lets some in, and others not."""


class Anyone(Rule):
    """Lets anyone in: the route tells nothing of anyone, and changes nothing."""

    def __call__(self) -> None:
        """Let in."""


class BySecret(Rule):
    """Lets anyone in: the route itself asks for a secret, in its address or its headers."""

    def __call__(self) -> None:
        """Let in."""


anyone = Depends(Anyone())
by_secret = Depends(BySecret())


def find_rules(route: APIRoute) -> list[Rule]:
    """Return the rules of a route."""
    calls = (one.call for one in route.dependant.dependencies)
    return [one for one in calls if isinstance(one, Rule)]


def check_rules(app: FastAPI) -> None:
    """Refuse to serve routes that do not say, each once, who may use them."""
    for route in app.routes:
        if isinstance(route, APIRoute) and len(find_rules(route)) != 1:
            raise AssertionError(f"{route.path} says {len(find_rules(route))} times who may use it")
