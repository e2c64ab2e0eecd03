"""Requests to end: Ctrl-C and the signals that mean the same."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class Interrupted(KeyboardInterrupt):
    """Ctrl-C or a request to end came."""


class EndRequests:
    """Turns the first request to end into `Interrupted`, at a moment when nothing is half done."""

    def __init__(self) -> None:
        self.count = 0
        self._holds = 0

    @contextmanager
    def caught(self) -> Iterator[None]:
        """Catch the signals for the length of a block."""
        numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
        before = {number: signal.signal(number, self._came) for number in numbers}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep a signal until the end of a block that must not be cut."""
        count = self.count
        self._holds += 1
        try:
            yield
        finally:
            self._holds -= 1
        if self.count > count and not self._holds:
            raise Interrupted

    def hold_for_good(self) -> None:
        """From here on only count: the end has begun."""
        self._holds += 1

    def _came(self, number: int, frame: FrameType | None) -> None:
        self.count += 1
        if self.count == 1 and not self._holds:
            raise Interrupted
