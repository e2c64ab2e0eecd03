"""How often something may be asked for: a bucket of requests that fills up again steadily."""

from __future__ import annotations

from django.core.cache import cache


class Bucket:
    """A bucket kept as one number: the time at which it will be full again.

    Two processes that write at the same moment may count one request less; that is all that can
    go wrong, and it is worth not locking.
    """

    def __init__(self, key: str, *, burst: int, per_second: float) -> None:
        self.key = key
        self.burst = burst
        self.per_second = per_second

    def take(self, now: float) -> float:
        """Take one request out; return how long to wait instead where none is left, in seconds."""
        full_at = max(float(cache.get(self.key, 0.0)), now)
        spent = (full_at - now) * self.per_second
        if spent > self.burst - 1:
            return (spent - (self.burst - 1)) / self.per_second
        full_at += 1.0 / self.per_second
        cache.set(self.key, full_at, timeout=full_at - now + 1.0)
        return 0.0
