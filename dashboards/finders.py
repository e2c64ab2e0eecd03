"""Static files that lie inside installed Python packages."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import utils
from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage

PREFIX = "plotly"
NAME = "plotly.min.js"


def bundle_directory() -> Path:
    """Return the folder in which the plotly package keeps its script, without importing it."""
    found = importlib.util.find_spec("plotly")
    if found is None or found.origin is None:
        raise FileNotFoundError("The package plotly is not installed.")
    return Path(found.origin).parent / "package_data"


class PlotlyFinder(BaseFinder):
    """Finds the script that the plotly package brings, as `plotly/plotly.min.js`.

    The pages so use the very version that made their figures, and no copy of it is kept here.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.storage = FileSystemStorage(location=str(bundle_directory()))
        self.storage.prefix = PREFIX  # type: ignore[attr-defined]

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> Any:
        """Return where the script lies, or nothing for any other path."""
        found = []
        if path == f"{PREFIX}/{NAME}":
            found = [self.storage.path(NAME)]
        if find_all:
            return found
        return found[0] if found else []

    def list(self, ignore_patterns: Iterable[str] | None) -> Iterable[Any]:
        """Yield the script for collection."""
        if not utils.matches_patterns(NAME, ignore_patterns or ()):
            yield NAME, self.storage
