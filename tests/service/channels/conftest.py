"""An authority of our own, and mails and texts to send."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import trustme

from tests.smtp_server import trust


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture(scope="module")
def trusted(authority: trustme.CA, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Certificates of the authority hold, as an operator makes them do."""
    folder: Path = tmp_path_factory.mktemp("authority")
    with pytest.MonkeyPatch.context() as patch:
        for name, value in trust(authority, folder).items():
            patch.setenv(name, value)
        yield
