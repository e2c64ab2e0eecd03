"""Bodies that work, in the order in which they build on each other; tests send every one."""

from __future__ import annotations

from typing import Any, Final

Body = dict[str, Any]


def _id(number: int) -> str:
    return f"0198f0a2-7c1e-7000-8000-{number:012d}"


CUSTOMER, SITE, EQUIPMENT, SECTION, INSTRUMENT = (_id(number) for number in range(1, 6))
PERSON, CREW, VISIT, TRAVERSE, FLOW_READING = (_id(number) for number in range(6, 11))

_TRAVERSE: Final[Body] = {
    "id": TRAVERSE,
    "visit": VISIT,
    "duct_section": SECTION,
    "instrument": INSTRUMENT,
    "stage": "as_found",
    "taken_at": "2026-06-03T14:12:00-05:00",
    "mode": "points",
    "operating_state": {
        "call": "cooling",
        "capacity_step": "full",
        "blower_setting": "tap 4",
        "coil": "wet",
        "filter": "clean",
        "outdoor_damper": "closed",
        "zones_open": "all",
        "steady_minutes": 15,
    },
    "conditions": {
        "dry_bulb": {"value": 69.7, "unit": "degF"},
        "relative_humidity": {"value": 45, "unit": "%"},
        "barometric_pressure": {"value": 29.1, "unit": "inHg"},
    },
    "readings": {
        "unit": "ft/min",
        "values": [
            [510, 560, 590, 570, 500],
            [540, 600, 640, 610, 530],
            [550, 620, 660, 630, 540],
            [540, 610, 650, 610, 530],
            [500, 560, 590, 560, None],
        ],
    },
    "positions": {"unit": "mm", "lines": [34, 132, 249, 326, 423]},
    "reasons": [[5, 5, "the probe did not reach the far wall"]],
    "notes": "third hole moved 20 mm off a gas pipe",
}
_SWEEPS: Final[Body] = {
    **_TRAVERSE,
    "id": _id(11),
    "stage": "as_left",
    "taken_at": "2026-06-03T15:20:00-05:00",
    "mode": "sweeps",
    "readings": {
        "unit": "ft/min",
        "lines": [
            {"mean": 398, "seconds": 12.1},
            {"mean": 431, "seconds": 11.4},
            {"mean": 440, "seconds": 11.8},
            {"mean": 428, "seconds": 12.0},
            {"mean": 394, "seconds": 11.6},
        ],
        "near_gap": {"value": 10, "unit": "mm"},
        "far_gap": {"value": 15, "unit": "mm"},
    },
    "reasons": [],
    "notes": "",
}
_CORRECTED: Final[Body] = {**_TRAVERSE, "notes": "third hole moved 20 mm off a water pipe"}

EXAMPLES: Final[dict[tuple[str, str], dict[str, Body]]] = {
    ("customers", "create"): {
        "a customer": {
            "id": CUSTOMER,
            "name": "Bakery on the corner",
            "contact": "Ask for the owner before ten.",
        }
    },
    ("customers", "redaction"): {"on request": {"reason": "The customer asked for it in writing."}},
    ("sites", "redaction"): {"on request": {"reason": "The customer asked for it in writing."}},
    ("people", "redaction"): {"on request": {"reason": "Left the company and asked for it."}},
    ("sites", "create"): {
        "a site on a plateau": {
            "id": SITE,
            "name": "Bakery, upper town",
            "customer": CUSTOMER,
            "address": "12 Mill Lane",
            "elevation": {"value": 790, "unit": "ft"},
            "time_zone": "America/Chicago",
            "climate": "mixed",
        }
    },
    ("equipment", "create"): {
        "a split system of three tons": {
            "id": EQUIPMENT,
            "site": SITE,
            "tag": "AH-1",
            "kind": "split_system",
            "nominal_capacity": {"value": 3, "unit": "ton"},
            "rated_capacity": {"value": 34600, "unit": "Btu/h"},
            "fan_drive": "permanent_split_capacitor",
            "max_external_static": {"value": 0.5, "unit": "inH2O"},
        }
    },
    ("targets", "create"): {
        "a range by the maker": {
            "equipment": EQUIPMENT,
            "call": "cooling",
            "low": {"value": 350, "unit": "(ft3/min)/ton"},
            "nominal": {"value": 400, "unit": "(ft3/min)/ton"},
            "high": {"value": 450, "unit": "(ft3/min)/ton"},
            "basis": "standard",
            "source": "maker",
        },
        "a design flow": {
            "equipment": EQUIPMENT,
            "call": "heating",
            "design_flow": {"value": 1100, "unit": "ft3/min"},
            "design_tolerance": {"value": 10, "unit": "%"},
            "basis": "actual",
            "source": "design",
        },
    },
    ("blower-tables", "create"): {
        "two taps": {
            "equipment": EQUIPMENT,
            "source": "maker's sheet of 2024",
            "rows": [
                {
                    "setting": "tap 2",
                    "external_static": {"value": 0.5, "unit": "inH2O"},
                    "flow": {"value": 1230, "unit": "ft3/min"},
                },
                {
                    "setting": "tap 4",
                    "external_static": {"value": 0.5, "unit": "inH2O"},
                    "flow": {"value": 1660, "unit": "ft3/min"},
                },
            ],
        }
    },
    ("duct-sections", "create"): {
        "a return drop of 18 by 24 inches": {
            "id": SECTION,
            "equipment": EQUIPMENT,
            "name": "Return drop",
            "air_path": "return",
            "material": "sheet",
            "shape": "rectangular",
            "width": {"value": 18, "unit": "in"},
            "height": {"value": 24, "unit": "in"},
            "straight_upstream": {"value": 6, "unit": "ft"},
            "straight_downstream": {"value": 2, "unit": "ft"},
            "upstream_fitting": "elbow with vanes",
            "layout_rule": "log_tchebycheff",
            "drilled_side": "width",
        }
    },
    ("instruments", "create"): {
        "a thermal meter": {
            "id": INSTRUMENT,
            "serial": "T-00417",
            "label": "Thermal 1",
            "principle": "thermal",
            "shows": "standard_velocity",
            "compensates": {"temperature": True, "pressure": False, "humidity": False},
            "reference": {
                "dry_bulb": {"value": 70, "unit": "degF"},
                "pressure": {"value": 29.921, "unit": "inHg"},
            },
            "direction_response": "cosine",
            "accuracy": {
                "relative": {"value": 3, "unit": "%"},
                "absolute": {"value": 3, "unit": "ft/min"},
            },
            "range": {
                "low": {"value": 40, "unit": "ft/min"},
                "high": {"value": 6000, "unit": "ft/min"},
            },
            "resolution": {"value": 1, "unit": "ft/min"},
            "probe_reach": {"value": 40, "unit": "in"},
            "tip_to_sensor": {"value": 8, "unit": "mm"},
        }
    },
    ("calibrations", "create"): {
        "a calibration": {
            "instrument": INSTRUMENT,
            "performed_on": "2026-02-10",
            "due_on": "2027-02-10",
            "gain": 1.012,
            "offset": {"value": -1, "unit": "ft/min"},
            "certificate": "C-2026-0188",
        }
    },
    ("people", "create"): {
        "a technician": {
            "id": PERSON,
            "username": "robin",
            "name": "Robin",
            "role": "technician",
            "password": "seven quiet ducts",
        }
    },
    ("crews", "create"): {
        "a crew of one": {
            "id": CREW,
            "name": "East crew",
            "members": [{"person": PERSON, "from_on": "2026-01-01"}],
        }
    },
    ("visits", "create"): {
        "a visit": {
            "id": VISIT,
            "site": SITE,
            "crew": CREW,
            "purpose": "maintenance",
            "started_at": "2026-06-03T13:30:00-05:00",
        }
    },
    ("report-links", "create"): {
        "good for two weeks": {"lifetime_days": 14, "label": "facilities office"}
    },
    ("adjustments", "create"): {
        "another tap": {
            "visit": VISIT,
            "equipment": EQUIPMENT,
            "kind": "blower_setting",
            "from_value": "tap 4",
            "to_value": "tap 2",
            "made_at": "2026-06-03T14:50:00-05:00",
        }
    },
    ("pressures", "create"): {
        "return and supply": {
            "visit": VISIT,
            "equipment": EQUIPMENT,
            "stage": "as_found",
            "taken_at": "2026-06-03T14:05:00-05:00",
            "operating_state": {"call": "cooling", "blower_setting": "tap 4"},
            "return_static": {"value": -0.22, "unit": "inH2O"},
            "supply_static": {"value": 0.31, "unit": "inH2O"},
        }
    },
    ("temperature-rises", "create"): {
        "electric heat": {
            "visit": VISIT,
            "equipment": EQUIPMENT,
            "stage": "check",
            "taken_at": "2026-06-03T14:40:00-05:00",
            "electric_power": {"value": 9.6, "unit": "kW"},
            "entering": {"value": 70, "unit": "degF"},
            "leaving": {"value": 92, "unit": "degF"},
        }
    },
    ("flow-readings", "create"): {
        "a flow grid": {
            "id": FLOW_READING,
            "visit": VISIT,
            "equipment": EQUIPMENT,
            "stage": "as_found",
            "taken_at": "2026-06-03T14:20:00-05:00",
            "flow": {"value": 240, "unit": "ft3/min"},
            "method": "flow_grid",
            "relative_uncertainty": {"value": 7, "unit": "%"},
        }
    },
    ("traverses", "create"): {"point by point": _TRAVERSE, "line by line": _SWEEPS},
    ("traverses", "preview"): {"point by point": _TRAVERSE},
    ("traverses", "corrections"): {
        "another note": {"reason": "It was a water pipe.", "content": _CORRECTED}
    },
    ("flow-sets", "create"): {
        "a return and a grid": {
            "visit": VISIT,
            "equipment": EQUIPMENT,
            "stage": "as_found",
            "members": [{"traverse": TRAVERSE}, {"flow_reading": FLOW_READING, "sign": 1}],
        }
    },
    ("company", "partial_update"): {
        "SI for everybody": {"default_units": "si", "time_zone": "America/Chicago"}
    },
}
