"""Advice on the blower: what kind of change, how large a step, and what to mind.

Codes only; their words stand where they are shown, with the line that local code, the maker's
instructions and the licensed professional on site come first.
"""

from dataclasses import dataclass
from typing import Final, Literal, get_args

from airflow_jobs.calc.fans import (
    PRIOR,
    FanBelief,
    FlowPrediction,
    SpeedStep,
    predicted_flow,
    speed_step,
)
from airflow_jobs.calc.quantities import checked

FanDrive = Literal[
    "permanent_split_capacitor",
    "constant_torque",
    "constant_airflow",
    "belt",
    "variable_frequency",
    "unknown",
]
AdviceKind = Literal["change_speed", "change_setting", "set_programmed_flow", "none"]
Caution = Literal[
    "motor_current",
    "coil_carry_over",
    "coil_freezing",
    "minimum_airflow",
    "temperature_rise",
    "settings_not_speeds",
    "constant_torque",
    "drive_unknown",
    "one_step_only",
    "variable_volume",
    "stall_side",
]

COIL_CARRY_OVER_M_S: Final = 550.0 * 0.00508
"""Face velocity of a wet coil from which water may carry over, m/s. Common practice."""

COIL_FREEZING_M3_S_W: Final = 300.0 * 0.3048**3 / 60.0 / (12000.0 * 1055.05585262 / 3600.0)
"""300 ft3/min a ton, under which a cooling coil may freeze, m3/s per W. Common practice."""

KIND_BY_DRIVE: Final[dict[FanDrive, AdviceKind]] = {
    "permanent_split_capacitor": "change_setting",
    "constant_torque": "change_setting",
    "constant_airflow": "set_programmed_flow",
    "belt": "change_speed",
    "variable_frequency": "change_speed",
    "unknown": "change_setting",
}


@dataclass(frozen=True, slots=True)
class FanAdvice:
    """What to do about the blower.

    Attributes
    ----------
    kind
        `change_speed`; `change_setting` (taps and torque settings have no known speeds: the step
        says how far, not which); `set_programmed_flow` (the drive holds a flow: set that);
        `none`.
    cautions
        Codes of what to mind, or why there is no advice.
    step, expected
        The step and the flow to expect after it; None where there is no speed to speak of.
    """

    kind: AdviceKind
    cautions: tuple[Caution, ...]
    step: SpeedStep | None = None
    expected: FlowPrediction | None = None


def fan_advice(
    *,
    flow_m3_s: float,
    target_flow_m3_s: float,
    relative_standard_uncertainty: float,
    drive: FanDrive,
    variable_volume: bool = False,
    on_stall_side: bool = False,
    cooling_capacity_w: float | None = None,
    coil_face_area_m2: float | None = None,
    needs_minimum_airflow: bool = False,
    burns_fuel: bool = False,
    belief: FanBelief = PRIOR,
) -> FanAdvice:
    """Return what to do about a blower whose flow is off its target.

    Parameters
    ----------
    flow_m3_s, target_flow_m3_s
        Measured and wanted, m3/s, above 0, on the same basis.
    relative_standard_uncertainty
        Of the measured flow, at least 0.
    drive
        What turns the fan.
    variable_volume
        Boxes downstream move by themselves: no advice.
    on_stall_side
        The fan works left of its curve's peak: no advice.
    cooling_capacity_w
        W, above 0; None where the system doesn't cool in this state.
    coil_face_area_m2
        m2, above 0; None where unknown or dry.
    needs_minimum_airflow
        Electric heat or a flammable refrigerant asks for the maker's least flow.
    burns_fuel
        The same air passes a furnace.
    belief
        What is known of fan and system.

    Returns
    -------
    FanAdvice

    Raises
    ------
    ValueError
        If a quantity is impossible or the drive is no known word.

    Notes
    -----
    Source: fan laws and common practice.

    Examples
    --------
    >>> advice = fan_advice(flow_m3_s=0.81, target_flow_m3_s=0.57,
    ...                     relative_standard_uncertainty=0.03, drive="belt")
    >>> advice.kind, advice.cautions
    ('change_speed', ('one_step_only',))
    """
    if drive not in get_args(FanDrive):
        raise ValueError(f"drive is {drive!r}; it must be one of {', '.join(get_args(FanDrive))}")
    if variable_volume:
        return FanAdvice("none", ("variable_volume",))
    if on_stall_side:
        return FanAdvice("none", ("stall_side",))
    kind = KIND_BY_DRIVE[drive]
    step = speed_step(flow_m3_s=flow_m3_s, target_flow_m3_s=target_flow_m3_s, belief=belief)
    expected = predicted_flow(
        flow_m3_s=flow_m3_s,
        speed_ratio=step.step_ratio,
        relative_standard_uncertainty=relative_standard_uncertainty,
        belief=belief,
    )
    programmed = kind == "set_programmed_flow"
    flow_after = target_flow_m3_s if programmed else float(expected.flow_m3_s)
    cautions: list[Caution] = []
    if flow_after > flow_m3_s:
        cautions.append("motor_current")
        if coil_face_area_m2 is not None:
            face = float(checked("coil_face_area_m2", coil_face_area_m2, "m2", above=0.0))
            if flow_after / face > COIL_CARRY_OVER_M_S:
                cautions.append("coil_carry_over")
    elif flow_after < flow_m3_s:
        if cooling_capacity_w is not None:
            capacity = float(checked("cooling_capacity_w", cooling_capacity_w, "W", above=0.0))
            if flow_after / capacity < COIL_FREEZING_M3_S_W:
                cautions.append("coil_freezing")
        if needs_minimum_airflow:
            cautions.append("minimum_airflow")
    if burns_fuel:
        cautions.append("temperature_rise")
    if programmed:
        return FanAdvice(kind, tuple(cautions))
    if drive == "permanent_split_capacitor":
        cautions.append("settings_not_speeds")
    elif drive == "constant_torque":
        cautions.append("constant_torque")
    elif drive == "unknown":
        cautions.append("drive_unknown")
    if bool(step.is_limited):
        cautions.append("one_step_only")
    return FanAdvice(kind, tuple(cautions), step, expected)
