"""The service over HTTP: one request, repeated until it is answered."""

from __future__ import annotations

import contextlib
import email.utils
import http.client
import json
import random
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

# "Later", from the service or from whatever stands before it.
BUSY = frozenset({429, 502, 503, 504})
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 60.0


class Trouble(Exception):
    """Something that a person must know; the text says what to do. What waits here is kept."""


class NoAnswer(Exception):
    """The service did not answer: whether the request reached it is not known."""


@dataclass(frozen=True)
class Answer:
    """An answer of the service; `body` is what was asked for, or a problem with its `errors`."""

    status: int
    body: Any
    retry_after_s: float = 0.0


def pause_s(failures: int, at_least_s: float = 0.0) -> float:
    """Return how long to wait before asking again: longer each time, partly by chance.

    Chance keeps phones that found a signal together from coming back together.

    Parameters
    ----------
    failures
        How often it failed so far, from 1.
    at_least_s
        What the service asked for by Retry-After, in seconds.

    Returns
    -------
    float
        Seconds: never less than asked for; the share of our own doubles up to a minute.
    """
    backoff_s = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0 ** min(failures - 1, 20))
    return max(at_least_s, backoff_s / 2) + random.uniform(0, backoff_s / 2)


@dataclass
class Service:
    """The service at an address, for the holder of a token."""

    url: str
    token: str
    """Empty while signing in."""
    timeout_s: float = 30.0
    patience_s: float = 300.0
    """How long to wait in all until one request is answered."""
    sleep: Callable[[float], None] = time.sleep
    say: Callable[[str], None] = lambda line: print(line, file=sys.stderr)

    def ask(
        self, method: str, path: str, body: Any = None, *, revision: int | None = None
    ) -> Answer:
        """Ask until there is an answer that asking again would not change.

        Only for requests that are safe to repeat; all that this client makes are.

        Parameters
        ----------
        method, path
            What to do, and where below ``/api/v1/``.
        body
            What to send as JSON.
        revision
            The revision that a change builds on, for If-Match.

        Returns
        -------
        Answer
            Whatever it says, refusals included.

        Raises
        ------
        Trouble
            If the token is not good, or nobody answers for too long.
        """
        failures, waited_s = 0, 0.0
        while True:
            try:
                answer = self._ask_once(method, path, body, revision)
            except NoAnswer as error:
                reason, at_least_s = str(error), 0.0
            else:
                if answer.status == 401 and self.token:
                    raise Trouble(
                        "The token is not good, or not any more: sign in again, or get a new one "
                        "and set FIELD_TOKEN. What waits here is kept and goes out then."
                    )
                if answer.status in BUSY:
                    reason, at_least_s = f"it is busy ({answer.status})", answer.retry_after_s
                elif _lost_a_part(answer):
                    reason, at_least_s = "the line lost a part of what was sent", 0.0
                else:
                    return answer
            failures += 1
            pause = pause_s(failures, at_least_s)
            if waited_s + pause > self.patience_s:
                raise Trouble(
                    f"The service can't be reached for now: {reason}. "
                    "What waits here is kept; try again later."
                )
            self.say(f"No luck yet: {reason}. Trying again in {pause:.0f} s.")
            self.sleep(pause)
            waited_s += pause

    def _ask_once(self, method: str, path: str, body: Any, revision: int | None) -> Answer:
        headers = {"Accept": "application/json"}
        if self.token:
            headers["Authorization"] = f"Bearer {self.token}"
        if body is not None:
            headers["Content-Type"] = "application/json"
        if revision is not None:
            headers["If-Match"] = f'"{revision}"'
        request = urllib.request.Request(
            f"{self.url.rstrip('/')}/api/v1/{path}",
            data=None if body is None else json.dumps(body).encode(),
            headers=headers,
            method=method,
        )
        try:
            try:
                response = _OPENER.open(request, timeout=self.timeout_s)
            except urllib.error.HTTPError as refusal:
                response = refusal  # a problem is an answer, too
            with response:
                text, status = response.read(), response.status
                retry_after_s = _seconds(response.headers.get("Retry-After", ""))
        except (OSError, http.client.HTTPException) as error:
            raise NoAnswer(str(getattr(error, "reason", error)) or repr(error)) from error
        with contextlib.suppress(ValueError):
            return Answer(status, json.loads(text), retry_after_s)
        if status in BUSY:
            return Answer(status, None, retry_after_s)
        # The sign-in page of a guest network, for one, must not pass for "stored".
        raise NoAnswer(f"something other than the service answered ({status}); is the URL right?")


def _lost_a_part(answer: Answer) -> bool:
    """Tell a body that the line cut short from one that is wrong, which would fail again."""
    if answer.status != 400 or not isinstance(answer.body, dict):
        return False
    return any(error.get("code") == "broken_off" for error in answer.body.get("errors", []))


class _NoRedirects(urllib.request.HTTPRedirectHandler):
    """Following a redirect would carry the token to another address."""

    def redirect_request(self, *_: Any) -> None:
        """Follow none."""


_OPENER = urllib.request.build_opener(_NoRedirects)


def _seconds(retry_after: str) -> float:
    """Read Retry-After: seconds or a date (RFC 9110, section 10.2.3)."""
    if retry_after.strip().isdigit():
        return float(retry_after)
    with contextlib.suppress(ValueError):
        return max(0.0, email.utils.parsedate_to_datetime(retry_after).timestamp() - time.time())
    return 0.0
