"""People who sign in, and what their role is."""

from __future__ import annotations

from typing import Final

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.utils.crypto import salted_hmac

from .base import Record, count_revision, one_of, with_history

REDACTED: Final = "Redacted"
"""What takes the place of a name that was taken out on request."""


class Role(models.TextChoices):
    """What a person may do; the table stands in the README."""

    TECHNICIAN = "technician", "Technician"
    MANAGER = "manager", "Manager"
    ADMINISTRATOR = "administrator", "Administrator"


class PersonManager(BaseUserManager["Person"]):
    """Looks people up by user name, as sign-in does."""

    def get_by_natural_key(self, username: str | None) -> Person:
        """Return the person with this user name, whatever its letter case."""
        return self.get(username__iexact=username)


@with_history(exclude=["password", "last_login"])
class Person(AbstractBaseUser, Record):
    """Somebody with a sign-in."""

    username = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)
    role = models.CharField(max_length=16, choices=Role.choices, default=Role.TECHNICIAN)
    is_active = models.BooleanField(default=True)
    one_time_codes_since = models.DateTimeField(null=True, blank=True, editable=False)
    """When one-time codes at sign-in were turned on; null while the password is enough."""
    sign_in_changed_at = models.DateTimeField(null=True, blank=True, editable=False)
    """When the password or the one-time codes last changed: earlier sessions are over."""

    objects = PersonManager()

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["name"]

    class Meta(Record.Meta):
        triggers = [count_revision("last_login")]
        constraints = [
            one_of("role", Role, "person"),
            models.UniqueConstraint(
                models.functions.Lower("username"), name="person_username_once"
            ),
            models.CheckConstraint(
                condition=models.Q(username__regex=r"^[A-Za-z0-9@.+_-]+$"),
                name="person_username_plain",
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.username

    @property
    def is_staff(self) -> bool:
        """Whether the person may open the administration pages."""
        return self.role == Role.ADMINISTRATOR

    @property
    def is_manager(self) -> bool:
        """Whether the person may read across crews and set targets and instruments."""
        return self.role in (Role.MANAGER, Role.ADMINISTRATOR)

    @property
    def needs_one_time_code(self) -> bool:
        """Whether the password alone does not sign the person in."""
        return self.one_time_codes_since is not None

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """Tie sessions to the present way of signing in, not to the password alone."""
        changed = self.sign_in_changed_at
        stamp = "" if changed is None else repr(changed.timestamp())
        return salted_hmac(
            "airflow_jobs.models.Person.session",
            f"{self.password} {stamp}",
            secret=secret,
            algorithm="sha256",
        ).hexdigest()

    def has_perm(self, perm: str, obj: object | None = None) -> bool:
        """Return whether the administration pages let this person do something."""
        return self.is_active and self.is_staff

    def has_module_perms(self, app_label: str) -> bool:
        """Return whether the administration pages show an application to this person."""
        return self.is_active and self.is_staff
