"""Slows down whoever tries passwords or one-time codes: so many wrong ones, then a pause."""

from __future__ import annotations

import hashlib

from django.core.cache import cache
from django.http import HttpRequest

# A person mistypes a few times; a program tries thousands. The wider limit holds where the
# tries come from many addresses, and is high enough that a stranger who wants to keep somebody
# out has to keep at it.
WRONG_FROM_ONE_ADDRESS = 5
WRONG_FROM_ANYWHERE = 30
PAUSE_SECONDS = 300


def who(request: HttpRequest, username: str) -> dict[str, str]:
    """Return what the tries of a request are counted by."""
    return {"username": username, "address": request.META.get("REMOTE_ADDR") or ""}


def _keys(username: str, address: str) -> dict[str, int]:
    name = username.strip().lower()
    return {
        f"sign-in:{hashlib.sha256(text.encode()).hexdigest()}": limit
        for text, limit in (
            (f"{name}\n{address}", WRONG_FROM_ONE_ADDRESS),
            (name, WRONG_FROM_ANYWHERE),
        )
    }


def is_paused(*, username: str, address: str) -> bool:
    """Return whether this user name has had too many wrong tries of late."""
    keys = _keys(username, address)
    counts = cache.get_many(list(keys))
    return any(counts.get(key, 0) >= limit for key, limit in keys.items())


def count_wrong(*, username: str, address: str) -> None:
    """Remember one wrong try."""
    for key in _keys(username, address):
        # `add` starts the pause with the first wrong one; a lost race costs one count.
        if not cache.add(key, 1, timeout=PAUSE_SECONDS):
            try:
                cache.incr(key)
            except ValueError:
                cache.set(key, 1, timeout=PAUSE_SECONDS)


def forget(*, username: str, address: str) -> None:
    """Forget the wrong tries of one address after somebody signed in from there."""
    first = next(iter(_keys(username, address)))
    cache.delete(first)
