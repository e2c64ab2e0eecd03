"""Sign-ins and tokens for a demonstration, made at random and kept for the next start."""

import datetime
import json
import os
import secrets
from pathlib import Path
from typing import Any, Final

from airflow_jobs.actions.people import set_password
from airflow_jobs.actions.tokens import issue_token, live_token
from airflow_jobs.demo.people import (
    ADMINISTRATOR_USERNAME,
    MANAGER_USERNAME,
    TECHNICIAN_USERNAME,
)
from airflow_jobs.models import Crew, Person, companys_day

USERNAMES: Final = {
    "manager": MANAGER_USERNAME,
    "technician": TECHNICIAN_USERNAME,
    "administrator": ADMINISTRATOR_USERNAME,
}
LABEL: Final = "demonstration"
LIFETIME: Final = datetime.timedelta(days=365)
# A kept token that has a day left would fail somebody tomorrow.
LEAST_LIFETIME: Final = datetime.timedelta(days=30)

Access = dict[str, Any]


def grant_access(*, kept: Access, url: str, now: datetime.datetime) -> Access:
    """Give the invented company's people their sign-ins; what was kept and still opens stays.

    Parameters
    ----------
    kept
        What `read_access` found.
    url
        The service's address.
    now
        The clock.

    Returns
    -------
    dict
        The address, a sign-in with a token for each role, and a field app's token.
    """
    access: Access = {"url": url}
    for role, username in USERNAMES.items():
        person = Person.objects.get(username=username)
        before = kept.get(role, {})
        password = before.get("password", "")
        if not person.check_password(password):
            password = secrets.token_urlsafe(12)
            set_password(person=person, password=password)
        token = before.get("token", "")
        if not _is_good(token, now):
            _, token = issue_token(person=person, label=LABEL, lifetime=LIFETIME, now=now)
        access[role] = {"username": username, "password": password, "token": token}
    token = kept.get("field_app", {}).get("token", "")
    if not _is_good(token, now):
        _, token = issue_token(crew=crew_of_field_app(now), label=LABEL, lifetime=LIFETIME, now=now)
    access["field_app"] = {"token": token}
    return access


def crew_of_field_app(now: datetime.datetime) -> Crew:
    """Find the crew whose field app the demonstration plays: the technician's.

    Parameters
    ----------
    now
        The clock.

    Returns
    -------
    Crew
        The technician's crew of today.
    """
    technician = Person.objects.get(username=TECHNICIAN_USERNAME)
    return (
        Crew.objects.of(technician.pk, companys_day(now)).order_by("name").first()
        or (Crew.objects.order_by("name")[0])
    )


def read_access(path: Path) -> Access:
    """Read what an earlier demonstration kept; nothing where that cannot be used.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    dict
        As `grant_access` returned it, or empty.
    """
    try:
        kept = json.loads(path.read_text())
    except (FileNotFoundError, ValueError):
        return {}
    if not isinstance(kept, dict):
        return {}
    return {key: value for key, value in kept.items() if isinstance(value, dict)}


def keep_access(path: Path, access: Access) -> None:
    """Keep the sign-ins for the next start, readable by the owner alone.

    Parameters
    ----------
    path
        The file; replaced whole.
    access
        What to keep.
    """
    draft = path.with_suffix(".draft")
    draft.unlink(missing_ok=True)
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as file:
        json.dump(access, file, indent=2)
        file.write("\n")
    draft.replace(path)


def _is_good(secret: str, now: datetime.datetime) -> bool:
    return bool(secret) and live_token(secret, now + LEAST_LIFETIME) is not None
