"""Which target a flow is held against: by equipment, call and day, by whose word."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from airflow_jobs.models import (
    Basis,
    Call,
    Climate,
    Company,
    Equipment,
    EquipmentKind,
    Target,
    TargetSource,
)
from airflow_jobs.models.company import PER_TON_M3_S_PER_W

# Usual ranges in (ft3/min)/ton: common practice, overridden by any entered target.
HEAT_PUMP_RANGE: Final = (375.0, 400.0, 450.0)
CLIMATE_RANGES: Final[dict[str, tuple[float, float, float]]] = {
    Climate.HUMID: (325.0, 350.0, 400.0),
    Climate.DRY: (400.0, 450.0, 500.0),
}
COOLING_CALLS: Final = (Call.COOLING, Call.DEHUMIDIFY)


@dataclass(frozen=True, slots=True)
class Aim:
    """A target as a range of one quantity.

    `quantity` says which: flow per capacity (m3/s per W), or flow (m3/s) where a design flow
    rules.
    """

    low: float
    nominal: float
    high: float
    is_flow: bool
    basis: str
    source: str
    call: str
    tolerance: float | None = None

    @property
    def basis_is_certain(self) -> bool:
        """Whether the basis is the maker's word (or the design's, for a design flow)."""
        return self.source == TargetSource.MAKER or self.is_flow

    def as_dict(self) -> dict[str, object]:
        """Return the target as results keep it."""
        return {
            "low": self.low,
            "nominal": self.nominal,
            "high": self.high,
            "quantity": "flow" if self.is_flow else "flow_per_capacity",
            "basis": self.basis,
            "source": self.source,
            "call": self.call,
            "tolerance": self.tolerance,
        }


def aim_for(
    *,
    equipment: Equipment,
    call: str,
    day: datetime.date,
    targets: Iterable[Target],
    company: Company,
) -> Aim | None:
    """Return what a flow in this call is held against on that day, or None.

    The equipment's own target wins over one for all equipment, that over the usual range;
    among several the latest valid one. Heating, fan-only and unknown calls have no usual
    range: heating is never judged by cooling capacity.
    """
    valid = [
        target
        for target in targets
        if target.call == call
        and (target.valid_from is None or target.valid_from <= day)
        and (target.retired_on is None or target.retired_on > day)
    ]
    own = [target for target in valid if target.equipment_id == equipment.pk]
    general = [target for target in valid if target.equipment_id is None]
    for choice in (own, general):
        if choice:
            latest = max(
                choice,
                key=lambda target: (
                    target.valid_from or datetime.date.min,
                    target.created_at,
                    target.pk,
                ),
            )
            return _aim_of(latest)
    if call in COOLING_CALLS and equipment.kind != EquipmentKind.VENTILATION:
        return _usual(equipment, call, company)
    return None


def _aim_of(target: Target) -> Aim:
    if target.design_flow_m3_s is not None and target.design_tolerance is not None:
        return Aim(
            low=target.design_flow_m3_s * (1.0 - target.design_tolerance),
            nominal=target.design_flow_m3_s,
            high=target.design_flow_m3_s * (1.0 + target.design_tolerance),
            is_flow=True,
            basis=target.basis,
            source=target.source,
            call=target.call,
            tolerance=target.design_tolerance,
        )
    assert target.low_m3_s_per_w is not None
    assert target.nominal_m3_s_per_w is not None
    assert target.high_m3_s_per_w is not None
    return Aim(
        low=target.low_m3_s_per_w,
        nominal=target.nominal_m3_s_per_w,
        high=target.high_m3_s_per_w,
        is_flow=False,
        basis=target.basis,
        source=target.source,
        call=target.call,
    )


def _usual(equipment: Equipment, call: str, company: Company) -> Aim:
    """Return the usual range: by kind, by climate, else the company's default."""
    if equipment.kind == EquipmentKind.HEAT_PUMP:
        low, nominal, high = (value * PER_TON_M3_S_PER_W for value in HEAT_PUMP_RANGE)
    elif equipment.site.climate in CLIMATE_RANGES:
        low, nominal, high = (
            value * PER_TON_M3_S_PER_W for value in CLIMATE_RANGES[equipment.site.climate]
        )
    else:
        low = company.default_low_m3_s_per_w
        nominal = company.default_nominal_m3_s_per_w
        high = company.default_high_m3_s_per_w
    return Aim(
        low=low,
        nominal=nominal,
        high=high,
        is_flow=False,
        basis=Basis.STANDARD,
        source=TargetSource.COMPANY,
        call=call,
    )
