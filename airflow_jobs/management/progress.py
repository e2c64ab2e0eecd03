"""How far a long command is: a bar on a terminal, now and then a line elsewhere."""

from __future__ import annotations

import time
from typing import Final, TextIO

TERMINAL_SECONDS: Final = 0.1
LINE_SECONDS: Final = 10.0
BAR_WIDTH: Final = 30


class Progress:
    """Shows how much of a known or unknown total is done."""

    def __init__(self, stream: TextIO, what: str, total: int | None = None) -> None:
        self._stream = stream
        self._what = what
        self._total = total
        self._is_terminal = stream.isatty()
        self._shown_at = time.monotonic()
        self._width = 0

    def at(self, done: int, note: str = "") -> None:
        """Show that so much is done, unless something was shown a moment ago."""
        now = time.monotonic()
        if now - self._shown_at < (TERMINAL_SECONDS if self._is_terminal else LINE_SECONDS):
            return
        self._shown_at = now
        text = self._text(done) + (f", {note}" if note else "")
        if self._is_terminal:
            self._stream.write("\r" + text.ljust(self._width))
            self._width = len(text)
        else:
            self._stream.write(text + "\n")
        self._stream.flush()

    def clear(self) -> None:
        """Take the bar away, for a line in its place."""
        if self._width:
            self._stream.write("\r" + " " * self._width + "\r")
            self._stream.flush()
            self._width = 0

    def _text(self, done: int) -> str:
        if not self._total:
            return f"{done:,} {self._what}"
        share = min(done / self._total, 1.0)
        if not self._is_terminal:
            return f"{share:.0%} of {self._total:,} {self._what}"
        full = round(share * BAR_WIDTH)
        return (
            f"[{'#' * full}{'.' * (BAR_WIDTH - full)}] {share:4.0%} of {self._total:,} {self._what}"
        )
