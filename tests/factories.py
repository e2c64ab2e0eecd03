"""Rows and request bodies for tests: functions with plausible values for whatever isn't given."""

from __future__ import annotations

import datetime
import hashlib
import itertools
import json
import secrets
from typing import Any

from airflow_jobs.models import (
    BlowerTable,
    Calibration,
    Company,
    Computation,
    Crew,
    CrewMembership,
    Customer,
    DuctSection,
    Equipment,
    FlowReading,
    FlowSet,
    FlowSetMember,
    Instrument,
    Person,
    Role,
    Site,
    Target,
    Token,
    Traverse,
    TraverseRevision,
    Visit,
    new_id,
)

NOW = datetime.datetime(2026, 6, 3, 19, 12, tzinfo=datetime.UTC)
TODAY = NOW.date()
FT_MIN = 0.00508
INCH = 0.0254
TON_W = 12000.0 * 1055.05585262 / 3600.0
PER_TON = 0.3048**3 / 60.0 / TON_W

_counter = itertools.count(1)


def json_bytes(body: Any) -> bytes:
    """Encode a body as a client does."""
    return json.dumps(body, default=str).encode()


def make_company(**fields: Any) -> Company:
    """Make the company, or change the one there is."""
    company, _ = Company.objects.update_or_create(only=True, defaults=fields)
    return company


def make_person(
    *,
    role: str = Role.TECHNICIAN,
    password: str = "correct horse 7 battery",
    **fields: Any,
) -> Person:
    """Make somebody who can sign in."""
    number = next(_counter)
    person = Person(
        **{
            "username": f"person{number}",
            "name": f"Person {number}",
            "role": role,
            **fields,
        }
    )
    person.set_password(password)
    person.save(force_insert=True)
    return person


def make_crew(**fields: Any) -> Crew:
    """Make a crew without members."""
    return Crew.objects.create(**{"name": f"Crew {next(_counter)}", **fields})


def make_membership(*, crew: Crew, person: Person, **fields: Any) -> CrewMembership:
    """Put a person into a crew, from long ago and for good."""
    return CrewMembership.objects.create(
        **{
            "crew": crew,
            "person": person,
            "from_on": datetime.date(2020, 1, 1),
            **fields,
        }
    )


def make_token(
    *,
    person: Person | None = None,
    crew: Crew | None = None,
    lifetime: datetime.timedelta = datetime.timedelta(days=30),
) -> tuple[Token, str]:
    """Make a token and return it with its secret; good from the real now on."""
    secret = secrets.token_urlsafe(32)
    token = Token.objects.create(
        digest=hashlib.sha256(secret.encode()).hexdigest(),
        person=person,
        crew=crew,
        label="test",
        expires_at=datetime.datetime.now(datetime.UTC) + lifetime,
    )
    return token, secret


def make_customer(**fields: Any) -> Customer:
    """Make a customer."""
    return Customer.objects.create(**{"name": f"Customer {next(_counter)}", **fields})


def make_site(**fields: Any) -> Site:
    """Make a site near sea level."""
    return Site.objects.create(
        **{
            "name": f"Site {next(_counter)}",
            "time_zone": "America/Chicago",
            "elevation_m": 0.0,
            **fields,
        }
    )


def make_equipment(*, site: Site | None = None, **fields: Any) -> Equipment:
    """Make a three-ton split system."""
    return Equipment.objects.create(
        **{
            "site": site or make_site(),
            "tag": f"AH-{next(_counter)}",
            "kind": "split_system",
            "nominal_capacity_w": 3.0 * TON_W,
            **fields,
        }
    )


def make_target(*, equipment: Equipment | None, **fields: Any) -> Target:
    """Make a cooling target of 350 to 450 a ton."""
    return Target.objects.create(
        **{
            "equipment": equipment,
            "call": "cooling",
            "low_m3_s_per_w": 350.0 * PER_TON,
            "nominal_m3_s_per_w": 400.0 * PER_TON,
            "high_m3_s_per_w": 450.0 * PER_TON,
            "basis": "standard",
            "source": "company",
            **fields,
        }
    )


def make_blower_table(*, equipment: Equipment, **fields: Any) -> BlowerTable:
    """Make the maker's table of one system."""
    rows = [
        {"setting": "tap 2", "external_static_pa": 125.0, "flow_m3_s": 0.5},
        {"setting": "tap 4", "external_static_pa": 125.0, "flow_m3_s": 0.75},
    ]
    return BlowerTable.objects.create(**{"equipment": equipment, "rows": rows, **fields})


def make_section(*, equipment: Equipment | None = None, **fields: Any) -> DuctSection:
    """Make a return drop of 18 x 24 in, unlined, five lines of five points."""
    return DuctSection.objects.create(
        **{
            "equipment": equipment or make_equipment(),
            "name": f"Return drop {next(_counter)}",
            "air_path": "return",
            "shape": "rectangular",
            "width_m": 18 * INCH,
            "height_m": 24 * INCH,
            "layout_rule": "log_tchebycheff",
            **fields,
        }
    )


def make_round_section(*, equipment: Equipment | None = None, **fields: Any) -> DuctSection:
    """Make a round supply of 16 in, three diameters of six."""
    return make_section(
        equipment=equipment,
        **{
            "name": f"Supply {next(_counter)}",
            "air_path": "supply",
            "shape": "round",
            "width_m": None,
            "height_m": None,
            "diameter_m": 16 * INCH,
            "layout_rule": "log_linear",
            **fields,
        },
    )


def make_instrument(**fields: Any) -> Instrument:
    """Make a vane that shows actual velocity."""
    return Instrument.objects.create(
        **{
            "serial": f"V-{next(_counter):05d}",
            "label": "Vane",
            "principle": "vane",
            "shows": "actual_velocity",
            "accuracy_relative": 0.03,
            "range_low_m_s": 0.3,
            "range_high_m_s": 30.0,
            **fields,
        }
    )


def make_calibration(*, instrument: Instrument, **fields: Any) -> Calibration:
    """Make a calibration that is good on the day of the tests."""
    return Calibration.objects.create(
        **{
            "instrument": instrument,
            "performed_on": TODAY - datetime.timedelta(days=100),
            "due_on": TODAY + datetime.timedelta(days=265),
            **fields,
        }
    )


def make_visit(*, site: Site | None = None, crew: Crew | None = None, **fields: Any) -> Visit:
    """Make a maintenance visit."""
    return Visit.objects.create(
        **{
            "site": site or make_site(),
            "crew": crew or make_crew(),
            "purpose": "maintenance",
            "started_at": NOW - datetime.timedelta(hours=1),
            **fields,
        }
    )


def make_flow_reading(
    *, visit: Visit, equipment: Equipment | None = None, **fields: Any
) -> FlowReading:
    """Make a flow known from a hood."""
    return FlowReading.objects.create(
        **{
            "visit": visit,
            "equipment": equipment or make_equipment(site=visit.site),
            "stage": "as_found",
            "taken_at": NOW,
            "flow_m3_s": 0.6,
            "method": "capture_hood",
            **fields,
        }
    )


def make_flow_set(
    *, visit: Visit, equipment: Equipment, members: list[Traverse | FlowReading]
) -> FlowSet:
    """Make a flow-set that waits for its result."""
    flow_set = FlowSet.objects.create(visit=visit, equipment=equipment, stage="as_found")
    for member in members:
        kind = "traverse" if isinstance(member, Traverse) else "flow_reading"
        FlowSetMember.objects.create(flow_set=flow_set, **{kind: member})
    Computation.objects.create(flow_set=flow_set)
    return flow_set


def make_traverse(
    *,
    visit: Visit | None = None,
    duct_section: DuctSection | None = None,
    instrument: Instrument | None = None,
    velocity_m_s: float = 574 * FT_MIN,
    **fields: Any,
) -> Traverse:
    """Make a traverse of 25 equal readings that waits for its result."""
    if duct_section is None:
        duct_section = make_section(
            equipment=make_equipment(site=visit.site if visit is not None else None)
        )
    if visit is None:
        visit = make_visit(site=duct_section.equipment.site)
    traverse = Traverse.objects.create(
        **{
            "visit": visit,
            "duct_section": duct_section,
            "instrument": instrument or make_instrument(),
            "stage": "as_found",
            "taken_at": NOW,
            "mode": "points",
            "call": "cooling",
            "dry_bulb_c": 21.1,
            "relative_humidity": 0.0,
            "barometric_pressure_pa": 101325.0,
            "reading_kind": "velocity",
            "readings": {"values": [[velocity_m_s] * 5 for _ in range(5)]},
            **fields,
        }
    )
    TraverseRevision.objects.create(
        traverse=traverse,
        number=1,
        content={"id": str(traverse.id)},
        content_digest=f"sha256:{hashlib.sha256(traverse.id.bytes).hexdigest()}",
        actor="test",
    )
    Computation.objects.create(traverse=traverse)
    return traverse


def traverse_content(
    *,
    visit: Visit,
    duct_section: DuctSection,
    instrument: Instrument,
    **fields: Any,
) -> dict[str, Any]:
    """Return the content of a points traverse as a client sends it; None leaves a key out."""
    content = {
        "id": str(new_id()),
        "visit": str(visit.id),
        "duct_section": str(duct_section.id),
        "instrument": str(instrument.id),
        "stage": "as_found",
        "taken_at": "2026-06-03T14:12:00-05:00",
        "mode": "points",
        "operating_state": {
            "call": "cooling",
            "blower_setting": "tap 4",
            "coil": "dry",
        },
        "conditions": {
            "dry_bulb": {"value": 70, "unit": "degF"},
            "relative_humidity": {"value": 0, "unit": "%"},
            "barometric_pressure": {"value": 29.921, "unit": "inHg"},
        },
        "readings": {"unit": "ft/min", "values": [[574] * 5 for _ in range(5)]},
        **fields,
    }
    return {key: value for key, value in content.items() if value is not None}
