"""Who is calling: a bearer token of a person or of a crew's field app."""

from __future__ import annotations

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.tokens import live_token, note_use
from airflow_jobs.models import Token, companys_day

SCHEME = "Bearer"
CHALLENGE = f'{SCHEME} realm="api"'


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer <token>`; the request's user is an `Actor`, its auth the token."""

    def authenticate(self, request: Request) -> tuple[Actor, Token] | None:
        """Return the actor of a good token; None where there is no token at all."""
        parts = get_authorization_header(request).split()
        if not parts:
            return None
        if parts[0].lower() != SCHEME.lower().encode() or len(parts) != 2:
            raise AuthenticationFailed(
                "The Authorization header must read: Bearer, one space, the token."
            )
        now = timezone.now()
        token = live_token(parts[1].decode("latin-1"), now)
        if token is None:
            raise AuthenticationFailed(
                "This token is unknown, expired or revoked; sign in for a new one "
                "(POST /api/v1/tokens/)."
            )
        note_use(token, now)
        if token.person is None:
            return Actor.of_field_app(token), token
        return Actor.of_person(token.person, today=companys_day(now)), token

    def authenticate_header(self, request: Request) -> str:
        """Name the scheme in the answer to a caller without a token."""
        return CHALLENGE
