"""One traverse made up on the spot and sent over HTTP, as a field app would send it."""

import datetime
import http.client
import json
import random
import time
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlsplit

from airflow_jobs.models import AirPath, Crew, DuctSection, Instrument, Principle, Shape

WAIT_SECONDS: Final = 120
POLL_SECONDS: Final = 0.1

# What a system in need of a look would show: some flow short of the 400 ft3/min a ton that
# makers commonly ask for (common practice).
USUAL_FLOW_M3_S_PER_W: Final = 400 * 0.3048**3 / 60 / (12_000 * 0.29307107)
SHORT_OF_IT: Final = (0.80, 0.92)
FEET_PER_MINUTE: Final = 60 / 0.3048
# The power law of a developed profile near its walls (common practice), and a hand's unrest.
PROFILE_EXPONENT: Final = 1 / 7
UNREST: Final = 0.02


class LiveTraverseFailed(RuntimeError):
    """The service did not do its part; the text says what it answered."""


@dataclass(frozen=True, kw_only=True)
class Spot:
    """Where and with what the traverse is made."""

    section: DuctSection
    instrument: Instrument
    crew: Crew


@dataclass(frozen=True, kw_only=True)
class Sent:
    """A traverse that was sent, and what the service made of it."""

    content: dict[str, Any]
    answer: dict[str, Any]
    seconds: float


class FieldApp:
    """Talks to the service over HTTP, with a field app's token."""

    def __init__(self, *, address: str, port: int, host: str, token: str) -> None:
        self._connection = http.client.HTTPConnection(address, port, timeout=30)
        self._headers = {
            "Host": host,
            "Authorization": f"Bearer {token}",
            "Content-Type": "application/json",
            "Accept": "application/json",
        }

    def send(self, method: str, path: str, body: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """Send a request below ``/api/v1/`` and return the answer.

        Raises
        ------
        LiveTraverseFailed
            If the service refuses.
        """
        content = None if body is None else json.dumps(body).encode()
        try:
            self._connection.request(method, f"/api/v1/{path}", content, self._headers)
            response = self._connection.getresponse()
            text = response.read().decode(errors="replace")
        except (OSError, http.client.HTTPException) as error:
            raise LiveTraverseFailed(f"{method} {path}: no answer ({error})") from error
        if response.status not in {200, 201}:
            raise LiveTraverseFailed(f"{method} {path}: {response.status} {text[:500]}")
        answer: dict[str, Any] = json.loads(text)
        return answer


def choose_spot(crew: Crew) -> Spot:
    """Choose a section that carries all of a system's flow, and a meter that is fit for it.

    Parameters
    ----------
    crew
        Who measures.

    Returns
    -------
    Spot
        Where and with what.

    Raises
    ------
    LiveTraverseFailed
        If the record has nothing of the kind.
    """
    section = (
        DuctSection.objects.select_related("equipment__site")
        .filter(
            shape=Shape.RECTANGULAR,
            air_path__in=[AirPath.RETURN, AirPath.SUPPLY],
            carries_all=True,
            retired_on=None,
            equipment__retired_on=None,
            equipment__nominal_capacity_w__gt=0,
            equipment__site__retired_on=None,
        )
        .order_by("id")
        .first()
    )
    instrument = (
        Instrument.objects.filter(principle=Principle.THERMAL, retired_on=None)
        .exclude(calibrations=None)
        .order_by("-probe_reach_m", "id")
        .first()
    )
    if section is None or instrument is None:
        raise LiveTraverseFailed("The record has no section and no instrument to measure with.")
    return Spot(section=section, instrument=instrument, crew=crew)


def measure(app: FieldApp, spot: Spot, *, now: datetime.datetime) -> Sent:
    """Lay out, read, send, and wait for the worker's result.

    Parameters
    ----------
    app
        The connection.
    spot
        Where and with what.
    now
        The clock.

    Returns
    -------
    Sent
        The traverse with its computed result.

    Raises
    ------
    LiveTraverseFailed
        If the service refuses, or the result does not come.
    """
    layout = app.send(
        "GET", f"duct-sections/{spot.section.pk}/layout/?instrument={spot.instrument.pk}&units=si"
    )
    visit = app.send(
        "POST",
        "visits/",
        {
            "id": str(uuid.uuid4()),
            "site": str(spot.section.equipment.site_id),
            "crew": str(spot.crew.pk),
            "purpose": "maintenance",
            "started_at": now.isoformat(timespec="seconds"),
        },
    )
    content = {
        "visit": visit["id"],
        "duct_section": str(spot.section.pk),
        "instrument": str(spot.instrument.pk),
        "stage": "as_found",
        "taken_at": now.isoformat(timespec="seconds"),
        "mode": "points",
        "operating_state": {"call": "cooling", "filter": "clean", "steady_minutes": 15},
        "conditions": _conditions(spot.section),
        "readings": {"unit": "ft/min", "values": _readings(spot.section, layout)},
    }
    began = time.monotonic()
    answer = app.send("POST", "traverses/", {"id": str(uuid.uuid4()), **content})
    while answer["result"]["state"] == "pending":
        if time.monotonic() - began > WAIT_SECONDS:
            raise LiveTraverseFailed(f"The worker has not computed it in {WAIT_SECONDS} s.")
        time.sleep(POLL_SECONDS)
        answer = app.send("GET", f"traverses/{answer['id']}/?units=ip")
    if answer["result"]["state"] != "computed":
        raise LiveTraverseFailed(f"It could not be computed: {answer['result'].get('reason')}")
    return Sent(content=content, answer=answer, seconds=time.monotonic() - began)


def curl_line(url: str, token: str, content: Mapping[str, Any]) -> str:
    """Write a command that sends a traverse; without an id every call makes a new one.

    Parameters
    ----------
    url
        The service's address.
    token
        The token to send it with.
    content
        The traverse.

    Returns
    -------
    str
        One line for a shell.
    """
    body = json.dumps(content, separators=(",", ":"))
    return (
        f"curl -s {urlsplit(url).geturl()}/api/v1/traverses/ "
        f"-H 'Authorization: Bearer {token}' -H 'Content-Type: application/json' -d '{body}'"
    )


def _conditions(section: DuctSection) -> dict[str, Any]:
    """Return the air of a cooling system at work, before or after its coil."""
    is_return = section.air_path == AirPath.RETURN
    return {
        "dry_bulb": {"value": 75.0 if is_return else 57.0, "unit": "degF"},
        "relative_humidity": {"value": 50.0 if is_return else 88.0, "unit": "%"},
    }


def _readings(section: DuctSection, layout: Mapping[str, Any]) -> list[list[int]]:
    """Make up readings on the laid out points, in ft/min as a display shows them."""
    chance = random.Random()
    lines = len(layout["holes"])
    points = len({depth["number"] for depth in layout["depths"]})
    capacity_w = section.equipment.cooling_capacity_w or 0.0
    flow_m3_s = USUAL_FLOW_M3_S_PER_W * capacity_w * chance.uniform(*SHORT_OF_IT)
    mean = flow_m3_s / layout["area"]["value"] * FEET_PER_MINUTE
    shape = [
        [_across(line, lines) * _across(point, points) for point in range(points)]
        for line in range(lines)
    ]
    average = sum(map(sum, shape)) / (lines * points)
    return [
        [round(mean * value / average * chance.gauss(1, UNREST)) for value in line]
        for line in shape
    ]


def _across(number: int, count: int) -> float:
    from_wall = min(number + 0.5, count - number - 0.5) / count
    return float((2 * from_wall) ** PROFILE_EXPONENT)
