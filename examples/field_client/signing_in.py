"""Sign in with user name and password, and with a one-time code where one is asked for."""

from __future__ import annotations

from collections.abc import Callable

from .service import Service, Trouble
from .words import of_problem

AGAIN = (
    "That code is not good: mistyped, too old, or used up by a try whose answer got lost. "
    "Wait for the next one."
)


def signed_in(
    service: Service,
    ask: Callable[[str], str],
    ask_unseen: Callable[[str], str],
    *,
    label: str,
) -> str:
    """Ask for what the service wants to know and return a token.

    Whether a code is due is for the service to say, and it says so only to who knows the password.

    Parameters
    ----------
    service
        Whom to ask; it needs no token yet.
    ask, ask_unseen
        Put a question and return the answer; the second doesn't show what is typed.
    label
        What the token is to be called in lists, so that a lost device's can be told and revoked.

    Raises
    ------
    Trouble
        If user name and password don't belong together, or nobody answers.
    """
    body = {"username": ask("User name: "), "password": ask_unseen("Password: "), "label": label}
    while True:
        answer = service.ask("POST", "tokens/", body)
        if answer.status == 201:
            return str(answer.body["token"])
        codes = {error["code"] for error in answer.body.get("errors", [])}
        if "one_time_code_wrong" in codes:
            service.say(AGAIN)
        elif "one_time_code_required" not in codes:
            raise Trouble(of_problem(answer.body))
        body["one_time_code"] = ask("One-time code, or a recovery code: ")
