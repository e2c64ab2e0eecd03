"""How much one caller may ask: a bucket of requests that fills up again steadily."""

from __future__ import annotations

import hashlib
import time
from typing import Any, Final

from django.core.cache import cache
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from airflow_jobs.models import Token

BURST: Final = 1000
PER_SECOND: Final = 100.0
SIGN_IN_BURST: Final = 10
SIGN_INS_PER_SECOND: Final = 0.1


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


class _BucketThrottle(BaseThrottle):
    burst = BURST
    per_second = PER_SECOND
    waiting = 0.0

    def key(self, request: Request) -> str:
        """Name the caller's bucket."""
        raise NotImplementedError

    def allow_request(self, request: Request, view: Any) -> bool:
        """Take one request out of the caller's bucket."""
        bucket = Bucket(self.key(request), burst=self.burst, per_second=self.per_second)
        self.waiting = bucket.take(time.time())
        return self.waiting == 0.0

    def wait(self) -> float:
        """Say how long to wait, in seconds."""
        return self.waiting


class TokenBucketThrottle(_BucketThrottle):
    """Bursts of 1,000 requests and 100 a second for each token; by address without one."""

    def key(self, request: Request) -> str:
        """Name the bucket by token, else by address."""
        if isinstance(request.auth, Token):
            return f"throttle-token-{request.auth.pk}"
        # A web server that listens on a socket file names no address: such callers share one.
        return f"throttle-address-{_digest(self.get_ident(request) or '')}"


class SignInThrottle(_BucketThrottle):
    """Ten tries at once and one every ten seconds for each user name from each address."""

    burst = SIGN_IN_BURST
    per_second = SIGN_INS_PER_SECOND

    def key(self, request: Request) -> str:
        """Name the bucket by user name and address."""
        data = request.data if isinstance(request.data, dict) else {}
        name = str(data.get("username", "")).casefold()
        return f"throttle-sign-in-{_digest(f'{self.get_ident(request)} {name}')}"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]
