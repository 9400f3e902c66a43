"""How fetching goes of what a feed or a forecast gives, and how often it is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any


@dataclass(frozen=True)
class FetchState:
    """What is asked again and again, and how that went.

    spec : its table in the farm file, every key
    fetched_at : when all there was had been fetched for the last time
    failing_since : since when fetches fail, and by which `failure`; None: the last one did not
    """

    spec: Mapping[str, Any]
    attempted_at: datetime | None
    fetched_at: datetime | None
    failing_since: datetime | None
    failure: str | None

    @property
    def every(self) -> timedelta:
        """How long after one fetch the next is due."""
        return timedelta(minutes=self.spec["every_min"])
