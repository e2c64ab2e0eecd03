"""How much one caller may ask: a bucket of requests that fills up again steadily."""

from __future__ import annotations

import hashlib
import time
from typing import Any, Final

from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from airflow_jobs.buckets import Bucket
from airflow_jobs.models import Token

BURST: Final = 1000
PER_SECOND: Final = 100.0
SIGN_IN_BURST: Final = 10
SIGN_INS_PER_SECOND: Final = 0.1


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
