"""What draws charts in a browser: Vega in one script, of the version that draws the pictures.

To put it together takes seconds, so it is kept in the data folder, a file for each version.
"""

from __future__ import annotations

from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from tempfile import NamedTemporaryFile
from threading import Lock

NAME = "chart-engine"
_putting_together = Lock()


@cache
def address_engine() -> str:
    """Return its address, which changes with its version."""
    return f"/static/{NAME}.js?v={_find_version()}"


def find_engine(data: Path) -> bytes:
    """Return the script, as a data folder keeps it from the first time on."""
    path = data / f"{NAME}-{_find_version()}.js"
    with _putting_together:
        with suppress(FileNotFoundError):
            return path.read_bytes()
        script = _put_together()
        with suppress(OSError):  # it is put together again the next time
            _keep(script, path)
    return script


def _find_version() -> str:
    return version("vl-convert-python")


def _put_together() -> bytes:
    import vl_convert

    return vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;").encode()


def _keep(script: bytes, path: Path) -> None:
    """Keep it whole or not at all, and none of another version."""
    with NamedTemporaryFile(dir=path.parent, prefix=f"{NAME}-", delete=False) as made:  # mode 0600
        made.write(script)
    Path(made.name).replace(path)
    for other in path.parent.glob(f"{NAME}-*"):
        if other != path:
            other.unlink()
