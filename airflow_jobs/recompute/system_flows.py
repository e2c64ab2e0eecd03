"""A system's flow as it was judged, and one that is off its target, as advice needs them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from airflow_jobs.models import Basis

from .targets import COOLING_CALLS, Aim

PRECEDENCE: Final = (
    "Local code, the maker's instructions and the licensed professional on site come before "
    "this advice."
)


@dataclass(frozen=True, slots=True)
class SystemFlow:
    """A flow and how it was judged."""

    flow_m3_s: float | None
    """Best estimate on the target's basis."""
    relative_u: float | None
    coverage_factor: float
    standard_over_actual: float
    """Density of the air over standard density."""
    aim: Aim | None
    capacity_w: float | None
    verdict: str
    leaning: str | None
    carries_all: bool
    basis_is_open: bool
    """Standard and actual flow give different verdicts, and the target's basis isn't certain."""
    call: str
    effective_call: str
    setting: str
    coil: str

    @property
    def nominal_m3_s(self) -> float | None:
        """What the flow should be, on the target's basis."""
        if self.aim is None:
            return None
        if self.aim.is_flow:
            return self.aim.nominal
        return self.aim.nominal * self.capacity_w if self.capacity_w else None


@dataclass(frozen=True, slots=True)
class OffTarget:
    """A flow that may be acted on: measured, and what it should be, on the target's basis."""

    flow_m3_s: float
    relative_u: float
    target_m3_s: float
    aim: Aim
    system: SystemFlow

    @property
    def actual_over_basis(self) -> float:
        """Actual flow over flow on the target's basis."""
        is_actual = self.aim.basis == Basis.ACTUAL
        return 1.0 if is_actual else 1.0 / self.system.standard_over_actual

    @property
    def actual_m3_s(self) -> float:
        """Measured flow of the air as it was: what a fan moves."""
        return self.flow_m3_s * self.actual_over_basis

    @property
    def cooling_capacity_w(self) -> float | None:
        """The capacity, where the system cools in this state."""
        cools = self.system.effective_call in COOLING_CALLS
        return self.system.capacity_w if cools else None

    def advice(self, *, kind: str, by: str) -> dict[str, Any]:
        """Return what every piece of advice has."""
        return {
            "kind": kind,
            "by": by,
            "basis": str(self.aim.basis),
            "measured_flow": self.flow_m3_s,
            "target_flow": self.target_m3_s,
            "from_setting": self.system.setting or None,
            "to_setting": None,
            "precedence": PRECEDENCE,
        }

    def expected_flow(self, flow_m3_s: float, low_m3_s: float, high_m3_s: float) -> dict[str, Any]:
        """Return a flow to expect, on the target's basis, and whether it would be in range."""
        capacity = self.system.capacity_w
        per_capacity = flow_m3_s / capacity if capacity else None
        judged = flow_m3_s if self.aim.is_flow else per_capacity
        return {
            "expected_flow": flow_m3_s,
            "expected_flow_low": low_m3_s,
            "expected_flow_high": high_m3_s,
            "expected_flow_per_capacity": per_capacity,
            "expected_in_range": judged is not None and self.aim.low <= judged <= self.aim.high,
        }
