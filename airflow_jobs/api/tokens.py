"""Tokens: signing in, field apps, what one has, and giving one back."""

from __future__ import annotations

import datetime
from typing import Any, Final
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle

from airflow_jobs.actions import access
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.records import unknown_reference
from airflow_jobs.actions.tokens import (
    FIELD_APP_LIFETIME,
    issue_field_app_token,
    revoke_token,
    sign_in,
)
from airflow_jobs.models import Crew, Token

from .fields import CountField, InstantField, ReferenceField, TextField, note
from .permissions import Anybody, MayUseTheApi
from .records import RecordSerializer, RecordViewSet, StrictSerializer
from .throttling import SignInThrottle, TokenBucketThrottle

LONGEST_DAYS = 3650

SIGN_IN: Final = """\
Exchanges user name and password for a token. Answers 201 with the secret, which is shown this once.

Somebody who has one-time codes on is answered 401 with the code `one_time_code_required` in
`errors`: ask for the code and send all three. A code that is wrong, too old or used already is
answered 401 with `one_time_code_wrong`; after too many wrong ones comes 429 with
`one_time_code_paused` and `Retry-After`. A 401 without one of these codes means that user name and
password don't belong together; it is the same for everybody. A code is good once: where an answer
was lost, ask for the next one.

When somebody changes the password, or turns one-time codes on or off, all tokens of theirs are
revoked."""


class SignInSerializer(StrictSerializer):
    """A user name and its password, and a one-time code where one is due."""

    username = TextField(max_length=64, help_text="The user name.")
    password = TextField(max_length=200, trim_whitespace=False, help_text="The password.")
    one_time_code = note(
        max_length=40,
        help_text="From those who have one-time codes on: the code that the app shows, or a "
        "recovery code. From others it is not looked at.",
    )
    # A key of the body, not an attribute of the serializer.
    label = note(max_length=100, help_text="What to call the token in lists, such as a device.")  # type: ignore[assignment]


class FieldAppSerializer(StrictSerializer):
    """A field app that is to post for a crew."""

    crew = ReferenceField("crews", source="crew_id", help_text="The crew it posts for.")
    # A key of the body, not an attribute of the serializer.
    label = note(max_length=100, help_text="What to call the token in lists.")  # type: ignore[assignment]
    lifetime_days = CountField(
        required=False,
        minimum=1,
        maximum=LONGEST_DAYS,
        help_text="How long it is good, in days; 365 where nothing is given.",
    )


class TokenSerializer(RecordSerializer):
    """A token as lists show it: never its secret."""

    # A key of the body, not an attribute of the serializer.
    label = TextField(max_length=100, read_only=True, help_text="What it is called.")  # type: ignore[assignment]
    person = ReferenceField(
        "people", read_only=True, allow_null=True, help_text="Whose it is; null for a crew's."
    )
    crew = ReferenceField(
        "crews", read_only=True, allow_null=True, help_text="The crew of a field app."
    )
    expires_at = InstantField(read_only=True, help_text="When it stops being good.")
    revoked_at = InstantField(
        read_only=True, allow_null=True, help_text="When it was given back; null if not."
    )
    last_used_at = InstantField(
        read_only=True, allow_null=True, help_text="When it was last used, to a minute."
    )


class IssuedTokenSerializer(TokenSerializer):
    """A token with its secret, which is shown this once."""

    token = TextField(max_length=100, read_only=True, help_text="The secret; keep it safe.")


class TokenViewSet(RecordViewSet):
    """Tokens: POST signs in; the list shows one's own."""

    model = Token
    serializer_class = TokenSerializer
    noun = "a token"

    def get_permissions(self) -> list[BasePermission]:
        """Let anybody sign in."""
        if self.action == "create":
            return [Anybody()]
        return [MayUseTheApi()]

    def get_authenticators(self) -> list[Any]:
        """Ignore an old token of somebody who signs in anew."""
        request = getattr(self, "request", None)
        if request is not None and request.method == "POST" and self._is_sign_in():
            return []
        return super().get_authenticators()

    def _is_sign_in(self) -> bool:
        return getattr(self, "action_map", {}).get("post") == "create"

    def get_throttles(self) -> list[BaseThrottle]:
        """Slow down whoever tries passwords."""
        if self.action == "create":
            return [TokenBucketThrottle(), SignInThrottle()]
        return super().get_throttles()

    def get_queryset(self) -> Any:
        """Return one's own tokens; those of field apps have their own list."""
        rows = super().get_queryset()
        if self.action == "list":
            return rows.filter(person_id=self.actor.person_id or _NOBODY)
        return rows

    @extend_schema(
        summary="Sign in",
        description=SIGN_IN,
        request=SignInSerializer,
        responses={201: IssuedTokenSerializer},
    )
    def create(self, request: Request) -> Response:
        """Sign in: exchange user name and password, and a one-time code if due, for a token."""
        body = SignInSerializer(data=request.data, context=self.get_serializer_context())
        body.is_valid(raise_exception=True)
        given = body.validated_data
        token, secret = sign_in(
            username=given["username"],
            password=given["password"],
            one_time_code=given.get("one_time_code", ""),
            label=given.get("label", ""),
            now=timezone.now(),
        )
        return self.issued(token, secret)

    def issued(self, token: Token, secret: str) -> Response:
        """Answer a new token with its secret, this once."""
        answer = {**self.represented(token), "token": secret}
        return Response(
            answer,
            status=status.HTTP_201_CREATED,
            headers={
                "ETag": f'"{token.revision}"',
                "Location": f"/api/v1/tokens/{token.pk}/",
                "Cache-Control": "no-store",
            },
        )

    def destroy(self, request: Request, pk: str) -> Response:
        """Give a token back: it is useless from now on."""
        revoke_token(actor=self.actor, token_id=UUID(pk), now=timezone.now())
        return Response(status=status.HTTP_204_NO_CONTENT)


class FieldAppTokenViewSet(TokenViewSet):
    """Tokens of field apps, each bound to a crew; administrators only."""

    noun = "a field app's token"

    def get_permissions(self) -> list[BasePermission]:
        """Let in who has a token; the action asks for an administrator."""
        return [MayUseTheApi()]

    def _is_sign_in(self) -> bool:
        return False

    def get_throttles(self) -> list[BaseThrottle]:
        """Throttle like any other request."""
        return [TokenBucketThrottle()]

    def get_queryset(self) -> Any:
        """Return the tokens of all field apps."""
        access.require_administrator(self.actor, "see field apps' tokens")
        return Token.objects.filter(crew__isnull=False)

    @extend_schema(
        summary="Issue a field app's token",
        description="For administrators. Answers 201 with the secret, which is shown this once; "
        "sent again, it issues another token.",
        request=FieldAppSerializer,
        responses={201: IssuedTokenSerializer},
    )
    def create(self, request: Request) -> Response:
        """Issue a token for a field app of a crew."""
        access.require_administrator(self.actor, "issue a field app's token")
        body = FieldAppSerializer(data=request.data, context=self.get_serializer_context())
        body.is_valid(raise_exception=True)
        given = body.validated_data
        crew = Crew.objects.filter(pk=given["crew_id"]).first()
        if crew is None:
            raise RulesBroken([unknown_reference("crew", Crew, given["crew_id"])])
        days = given.get("lifetime_days")
        token, secret = issue_field_app_token(
            actor=self.actor,
            crew=crew,
            label=given.get("label", ""),
            lifetime=datetime.timedelta(days=days) if days else FIELD_APP_LIFETIME,
            now=timezone.now(),
        )
        return self.issued(token, secret)


_NOBODY = UUID(int=0)
