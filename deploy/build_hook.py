"""Puts the manual page into a wheel.

Reading the commands needs the packages that they import: a build that is isolated from these makes
a wheel without the page, and says so.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PAGE = "share/man/man1/digseason.1"


class Manual(BuildHookInterface):
    """Writes the page for a wheel that is no editable one."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add the page to what the wheel shares."""
        if version == "editable":
            return
        sys.path.insert(0, self.root)
        try:
            from deploy.manual import write_manual
            from service.cli import main

            page = write_manual(main, self.metadata.version)
        except ImportError as missing:
            self.app.display_warning(f"no manual page in this wheel: {missing}")
            return
        finally:
            sys.path.remove(self.root)
        path = Path(self.root, ".cache", PAGE)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(page, "utf-8")
        build_data["shared_data"][str(path)] = PAGE
