"""What to mind when a blower is changed, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from airflow_jobs.calc.fan_advice import COIL_FREEZING_M3_S_W

from .beside import Beside
from .cross_checks import is_static_within
from .system_flows import OffTarget

CAUTION_WORDS: Final[dict[str, str]] = {
    "motor_current": "Check the motor's current against its nameplate after the change: more air "
    "takes more power.",
    "external_static": "External static is over what the unit may have already: look at filter, "
    "coil and ducts before the blower.",
    "external_static_close": "External static may be over what the unit may have already; it is "
    "too close to tell. Look at filter, coil and ducts before the blower.",
    "coil_carry_over": "Above some 550 ft/min (2.8 m/s) at the face of a wet coil water may carry "
    "over.",
    "coil_freezing": "Under some 300 (ft3/min)/ton (40 L/s per kW) in cooling the coil may freeze.",
    "minimum_airflow": "Electric heat and flammable refrigerants have a minimum airflow of the "
    "maker's: never go below it.",
    "temperature_rise": "On a fuel-burning furnace this changes the temperature rise: keep it "
    "within the nameplate. A combustion safety check is for a licensed technician.",
    "settings_not_speeds": "Taps are settings, not speeds: this says how far to go, not which tap.",
    "constant_torque": "The motor holds its torque and speeds up by itself where there is less "
    "resistance: take a small step and measure.",
    "drive_unknown": "How the blower is driven isn't on record: find out first, and leave a blower "
    "that holds its flow by itself to its programme.",
    "one_step_only": "The target is further than one step: take this one, measure again, go on.",
    "power_off": "Before opening the blower compartment: power off, locked and checked.",
}


def cautions_for(target: OffTarget, beside: Beside, expected_m3_s: float) -> list[str]:
    """Return the codes of what to mind where a flow (on the target's basis) becomes another."""
    codes = []
    if expected_m3_s > target.flow_m3_s:
        codes.append("motor_current")
        static, most = beside.static(beside.stage), beside.max_external_static_pa
        if static is not None and most:
            within = is_static_within(static.external_static_pa, most)
            if not within:
                codes.append("external_static_close" if within is None else "external_static")
        # How large the coil's face is isn't on record, so it is said wherever it may matter.
        if target.cooling_capacity_w is not None and target.system.coil != "dry":
            codes.append("coil_carry_over")
    else:
        capacity = target.cooling_capacity_w
        if capacity is not None and expected_m3_s / capacity < COIL_FREEZING_M3_S_W:
            codes.append("coil_freezing")
        if beside.needs_minimum_airflow:
            codes.append("minimum_airflow")
    if beside.burns_fuel:
        codes.append("temperature_rise")
    return codes


def worded(codes: Iterable[str]) -> list[dict[str, str]]:
    """Return cautions as results keep them: each once, the one about the power last."""
    once = dict.fromkeys([*codes, "power_off"])
    return [{"code": code, "message": CAUTION_WORDS[code]} for code in once]
