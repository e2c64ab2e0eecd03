"""Blowers: settings, flow against external static, and the maker's table of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq

from airflow_jobs.models import BlowerTable, Equipment, FanDrive
from airflow_jobs.units import FLOW, PRESSURE

from .seeded import Seeded
from .typed import Typed, on_scale, read_off

HALF_INCH_OF_WATER_PA: Final = 124.544
"""Usual rating point, 0.5 inH2O."""
FT3_MIN_M3_S: Final = 0.000471947
# Flow over free flow = 1 - a x - b x^2, x the external static over 0.5 inH2O: an invented curve
# of the shape that forward-curved blowers have on their stable side.
LINEAR_FALL: Final = 0.08
SQUARE_FALL: Final = 0.10
AT_RATING: Final = 1.0 - LINEAR_FALL - SQUARE_FALL
TAP_STEPS: Final = (0.76, 0.88, 1.0, 1.12, 1.24)
SPEED_STEPS: Final = tuple(round(0.68 + 0.04 * number, 2) for number in range(17))
"""Sheaves and drives go in smaller steps than taps."""
MIDDLE_SPEED: Final = SPEED_STEPS.index(1.0)
RATED_RPM: Final = 640.0
RATED_HZ: Final = 46.0
FURTHEST_SPEED_STEP: Final = 6
"""Nobody goes further at one visit: the motor's current bounds it, and the air at the grilles."""
FAN_ONLY_SETTING: Final = 0
LOWEST_SETTING, HIGHEST_SETTING = 1, 4
"""Between which people set cooling and heating."""
TABLE_STATICS_IN_H2O: Final = (0.1, 0.3, 0.5, 0.7, 0.9)
TAPPED: Final = (FanDrive.PERMANENT_SPLIT_CAPACITOR, FanDrive.CONSTANT_TORQUE)
SPEEDED: Final = (FanDrive.BELT, FanDrive.VARIABLE_FREQUENCY)
LEAST_STATIC_PA: Final = 25.0
"""Some 0.1 inH2O: less is left by no ducts, open as they may be."""
USUAL_STATIC_PA: Final = 60.0
"""Some 0.25 inH2O: less is rare."""
MOST_STATIC_PA: Final = 225.0
"""Some 0.9 inH2O, where makers' tables end."""
UNIT_SD: Final = 0.010
"""By how much a blower as a whole differs from what the maker prints, relative."""
SETTING_SD: Final = 0.011
"""By how much each of its settings does besides."""


@dataclass(frozen=True)
class Ducts:
    """The true curve of what a blower blows through: p ~ phi + (1 - phi) Q^n.

    Attributes
    ----------
    fixed_share
        Share of the pressure that doesn't depend on flow, at the flow as it is.
    exponent
        Of the rest.
    """

    fixed_share: float
    exponent: float

    def static_ratio(self, flow_ratio: float) -> float:
        """Return new over old static for new over old flow."""
        return float(self.fixed_share + (1.0 - self.fixed_share) * flow_ratio**self.exponent)


@dataclass(frozen=True)
class Standing:
    """Where a blower stands: setting and point on its curve.

    Attributes
    ----------
    setting
        See `Blower.steps`.
    flow_m3_s
        What it moves, m3/s of the air as it is.
    static_pa
        External static in standard air, Pa.
    """

    setting: int
    flow_m3_s: float
    static_pa: float


@dataclass
class Blower:
    """A blower, the ducts it stands in, and where it differs from what the maker prints."""

    drive: str
    rating_flow_m3_s: float
    """At the middle setting and 0.5 inH2O."""
    ducts: Ducts
    first_setting: int
    unit_factors: tuple[float, ...]
    """By setting: what this one moves over what the maker prints."""

    @classmethod
    def of_drive(cls, seeded: Seeded, drive: str, flow_m3_s: float) -> Blower:
        """Return a blower sized for a flow of the air as it is."""
        has_speeds = drive in SPEEDED
        count = len(SPEED_STEPS if has_speeds else TAP_STEPS)
        unit = seeded.normal(0.0, UNIT_SD)
        # A sheave turns the same wheel: only taps have ways of their own.
        own = np.zeros(count) if has_speeds else seeded.generator.normal(0.0, SETTING_SD, count)
        return cls(
            drive=drive,
            rating_flow_m3_s=flow_m3_s * seeded.uniform(0.98, 1.08),
            ducts=Ducts(
                # Boxes and terminal units that hold a pressure stand behind large blowers.
                fixed_share=seeded.uniform(0.05, 0.25)
                if has_speeds and seeded.chance(0.4)
                else 0.0,
                exponent=seeded.uniform(1.75, 2.0),
            ),
            first_setting=MIDDLE_SPEED + seeded.whole(-3, 3)
            if has_speeds
            else seeded.pick((1, 2, 2, 3)),
            unit_factors=tuple(float(1.0 + unit + one) for one in own),
        )

    @property
    def is_tapped(self) -> bool:
        """Whether it has taps, and so a table worth having."""
        return self.drive in TAPPED

    @property
    def has_speeds(self) -> bool:
        """Whether its settings are speeds."""
        return self.drive in SPEEDED

    @property
    def steps(self) -> tuple[float, ...]:
        """Each setting's flow, or speed, over the middle one's."""
        return SPEED_STEPS if self.has_speeds else TAP_STEPS

    @property
    def settings(self) -> range:
        """Settings in which people run it."""
        if self.has_speeds:
            return range(len(SPEED_STEPS))
        return range(LOWEST_SETTING, HIGHEST_SETTING + 1)

    def name(self, setting: int) -> str:
        """Return what the people call a setting."""
        step = self.steps[setting]
        if self.drive == FanDrive.BELT:
            return f"{_rounded(RATED_RPM * step, 10.0)} rpm"
        if self.drive == FanDrive.VARIABLE_FREQUENCY:
            return f"{_rounded(RATED_HZ * step, 1.0)} Hz"
        if self.drive == FanDrive.CONSTANT_AIRFLOW:
            return f"{_rounded(self.rating_flow_m3_s * step / FT3_MIN_M3_S, 25.0)} ft3/min"
        return f"tap {setting + 1}"

    def factor(self, setting: int) -> float:
        """Return a setting's flow, or speed, over the middle one's: what its name says."""
        step = self.steps[setting]
        if self.drive == FanDrive.BELT:
            return _rounded(RATED_RPM * step, 10.0) / RATED_RPM
        if self.drive == FanDrive.VARIABLE_FREQUENCY:
            return _rounded(RATED_HZ * step, 1.0) / RATED_HZ
        if self.drive == FanDrive.CONSTANT_AIRFLOW:
            rated = self.rating_flow_m3_s / FT3_MIN_M3_S
            return _rounded(rated * step, 25.0) / rated
        return step

    def flow_m3_s(self, setting: int, external_static_pa: float) -> float:
        """Return what the maker prints, m3/s."""
        x = external_static_pa / HALF_INCH_OF_WATER_PA
        free = self.rating_flow_m3_s * self.steps[setting] / AT_RATING
        return float(free * (1.0 - LINEAR_FALL * x - SQUARE_FALL * x * x))

    def external_static_pa(self, setting: int, flow_m3_s: float) -> float:
        """Return the true static at which a setting moves a flow, Pa in standard air.

        Below zero beyond the free flow, which no ducts let through.
        """
        factor = self.factor(setting)
        free = self.rating_flow_m3_s * self.unit_factors[setting] * factor / AT_RATING
        # By the fan laws the pressure of a wheel goes with the square of its speed; taps change
        # a motor's torque, and their curves lie beside each other.
        scale = HALF_INCH_OF_WATER_PA * (factor**2 if self.has_speeds else 1.0)
        lost = 1.0 - flow_m3_s / free
        if lost < 0.0:
            return float(scale * lost / LINEAR_FALL)
        root = np.sqrt(LINEAR_FALL**2 + 4.0 * SQUARE_FALL * lost)
        return float(scale * (root - LINEAR_FALL) / (2.0 * SQUARE_FALL))

    @property
    def most_flow_m3_s(self) -> float:
        """What it moves at its highest setting where the ducts are as open as they may be."""
        highest = self.settings[-1]
        factor = self.factor(highest)
        x = LEAST_STATIC_PA / HALF_INCH_OF_WATER_PA
        open_share = 1.0 - LINEAR_FALL * x - SQUARE_FALL * x * x
        free = self.rating_flow_m3_s * self.unit_factors[highest] * factor / AT_RATING
        return free * open_share

    def at(self, setting: int, flow_m3_s: float) -> Standing:
        """Return where it stands when a setting moves a flow."""
        return Standing(setting, flow_m3_s, self.external_static_pa(setting, flow_m3_s))

    def setting_near(self, setting: int, flow_m3_s: float) -> int:
        """Return the setting next to one at which a flow leaves a believable static."""

        def distance(other: int) -> tuple[float, int]:
            static = self.external_static_pa(other, flow_m3_s)
            beyond = max(USUAL_STATIC_PA - static, static - MOST_STATIC_PA, 0.0)
            return beyond, abs(other - setting)

        return min(self.settings, key=distance)

    def changed(self, standing: Standing, setting: int) -> Standing:
        """Return where it comes to stand at another setting, in ducts that stay as they are."""
        if self.drive == FanDrive.CONSTANT_AIRFLOW:
            # It makes up for the ducts by itself.
            ratio = self.factor(setting) / self.factor(standing.setting)
        else:
            ratio = brentq(
                lambda ratio: (
                    self.external_static_pa(setting, standing.flow_m3_s * ratio)
                    - standing.static_pa * self.ducts.static_ratio(ratio)
                ),
                0.2,
                4.0,
                xtol=1e-9,
            )
        return Standing(
            setting,
            standing.flow_m3_s * float(ratio),
            standing.static_pa * self.ducts.static_ratio(float(ratio)),
        )


def _rounded(value: float, step: float) -> int:
    return int(round(value / step) * step)


def blower_table(seeded: Seeded, equipment: Equipment, blower: Blower) -> BlowerTable | None:
    """Return the maker's table as somebody typed it in, or None for a blower without taps."""
    if not blower.is_tapped:
        return None
    rows = []
    rows_as_sent = []
    for setting in range(len(blower.steps)):
        for static in TABLE_STATICS_IN_H2O:
            external_static = Typed(static, "inH2O", PRESSURE)
            flow = read_off(blower.flow_m3_s(setting, external_static.si), "ft3/min", FLOW, 5.0)
            rows.append(
                {
                    "setting": blower.name(setting),
                    "external_static_pa": external_static.si,
                    "flow_m3_s": flow.si,
                }
            )
            rows_as_sent.append(
                {
                    "setting": blower.name(setting),
                    "external_static": external_static.as_json(),
                    "flow": flow.as_json(),
                }
            )
    at = equipment.created_at
    return BlowerTable(
        id=seeded.new_id(at),
        equipment=equipment,
        rows=rows,
        source=f"Maker's data, page {on_scale(seeded.uniform(3, 40), 1.0)}",
        created_at=at,
        updated_at=at,
        as_sent={"rows": rows_as_sent},
    )
