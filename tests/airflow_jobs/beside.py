"""Rows that stand beside a traverse: pressures, heat, adjustments, a whole blower table."""

from __future__ import annotations

import datetime
from typing import Any

from airflow_jobs import recompute
from airflow_jobs.models import (
    Adjustment,
    BlowerTable,
    Computation,
    Equipment,
    FlowSet,
    PressureReading,
    Result,
    State,
    TemperatureRise,
    Traverse,
    Visit,
)
from tests import factories

FT3_MIN = 0.3048**3 / 60.0
HOUR = datetime.timedelta(hours=1)
STATICS_PA = (25.0, 75.0, 125.0, 175.0, 225.0)
FREE_FLOWS_M3_S = {"tap 1": 0.52, "tap 2": 0.62, "tap 3": 0.74, "tap 4": 0.90, "tap 5": 1.02}


def printed(free_flow_m3_s: float, static_pa: float) -> float:
    """A curve of the usual shape: falling, faster at high statics."""
    return free_flow_m3_s * (1.0 - 0.0004 * static_pa - 3e-6 * static_pa**2)


def make_table(equipment: Equipment, **fields: Any) -> BlowerTable:
    """Make a table of five taps at five statics."""
    rows = [
        {"setting": name, "external_static_pa": static, "flow_m3_s": printed(free, static)}
        for name, free in FREE_FLOWS_M3_S.items()
        for static in STATICS_PA
    ]
    return factories.make_blower_table(equipment=equipment, **{"rows": rows, **fields})


def make_pressures(visit: Visit, equipment: Equipment, **fields: Any) -> PressureReading:
    """Make an external static of 125 Pa as found."""
    return PressureReading.objects.create(
        **{
            "visit": visit,
            "equipment": equipment,
            "stage": "as_found",
            "taken_at": factories.NOW,
            "return_static_pa": -50.0,
            "supply_static_pa": 75.0,
            **fields,
        }
    )


def make_rise(visit: Visit, equipment: Equipment, **fields: Any) -> TemperatureRise:
    """Make a rise from 20 to 38 degC over 10 kW of electric heat."""
    return TemperatureRise.objects.create(
        **{
            "visit": visit,
            "equipment": equipment,
            "stage": "as_found",
            "taken_at": factories.NOW,
            "electric_power_w": 10000.0,
            "entering_c": 20.0,
            "leaving_c": 38.0,
            **fields,
        }
    )


def make_adjustment(visit: Visit, equipment: Equipment, **fields: Any) -> Adjustment:
    """Make a change from tap 4 to tap 2 half an hour after the traverse as found."""
    return Adjustment.objects.create(
        **{
            "visit": visit,
            "equipment": equipment,
            "kind": "blower_setting",
            "from_value": "tap 4",
            "to_value": "tap 2",
            "made_at": factories.NOW + HOUR / 2,
            **fields,
        }
    )


def result_of(row: Traverse | FlowSet) -> Result:
    """Return the current result of a traverse or a flow-set that is computed."""
    which = {"traverse": row} if isinstance(row, Traverse) else {"flow_set": row}
    computation = Computation.objects.select_related("result").get(**which)
    assert computation.state == State.COMPUTED, computation.failure
    assert computation.result is not None
    return computation.result


def computed(row: Traverse | FlowSet) -> dict[str, Any]:
    """Drain the work list and return what the result of a row holds."""
    recompute.drain()
    values: dict[str, Any] = result_of(row).values
    return values


def codes(values: dict[str, Any]) -> set[str]:
    """Return the codes of a result's findings."""
    return {item["code"] for item in values["findings"]}
