"""Blowers: settings, flow against external static, and the maker's table of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from airflow_jobs.models import BlowerTable, Equipment, FanDrive
from airflow_jobs.units import FLOW, PRESSURE

from .seeded import Seeded
from .typed import Typed, on_scale, read_off

HALF_INCH_OF_WATER_PA: Final = 124.544
"""Usual rating point, 0.5 inH2O."""
# Flow over free flow = 1 - a x - b x^2, x the external static over 0.5 inH2O: an invented curve
# of the shape that forward-curved blowers have on their stable side.
LINEAR_FALL: Final = 0.08
SQUARE_FALL: Final = 0.10
AT_RATING: Final = 1.0 - LINEAR_FALL - SQUARE_FALL
TAP_STEPS: Final = (0.76, 0.88, 1.0, 1.12, 1.24)
FAN_ONLY_SETTING: Final = 0
LOWEST_SETTING, HIGHEST_SETTING = 1, 4
"""Between which people set cooling and heating."""
TABLE_STATICS_IN_H2O: Final = (0.1, 0.3, 0.5, 0.7, 0.9)
TAPPED: Final = (FanDrive.PERMANENT_SPLIT_CAPACITOR, FanDrive.CONSTANT_TORQUE)


@dataclass
class Blower:
    """A blower and where its setting stands."""

    drive: str
    rating_flow_m3_s: float
    """At the middle setting and 0.5 inH2O."""
    setting: int = 2
    """Index into `TAP_STEPS`; other drives count in the same steps."""
    unit_factor: float = 1.0
    """What this one moves over what the maker prints."""

    @classmethod
    def of_drive(cls, seeded: Seeded, drive: str, flow_m3_s: float) -> Blower:
        """Return a blower sized for a flow."""
        return cls(
            drive=drive,
            rating_flow_m3_s=flow_m3_s * seeded.uniform(0.98, 1.08),
            setting=seeded.pick((1, 2, 2, 3)),
            unit_factor=1.0 + seeded.normal(0.0, 0.02),
        )

    @property
    def is_tapped(self) -> bool:
        """Whether it has taps, and so a table worth having."""
        return self.drive in TAPPED

    def name(self, setting: int) -> str:
        """Return what the people call a setting."""
        if self.drive == FanDrive.BELT:
            return f"{round(640 * TAP_STEPS[setting] / 10) * 10} rpm"
        if self.drive == FanDrive.VARIABLE_FREQUENCY:
            return f"{round(46 * TAP_STEPS[setting])} Hz"
        if self.drive == FanDrive.CONSTANT_AIRFLOW:
            ft3_min = self.rating_flow_m3_s * TAP_STEPS[setting] / 0.000471947
            return f"{round(ft3_min / 25) * 25} ft3/min"
        return f"tap {setting + 1}"

    def flow_m3_s(self, setting: int, external_static_pa: float) -> float:
        """Return what the maker prints, m3/s of standard air."""
        x = external_static_pa / HALF_INCH_OF_WATER_PA
        free = self.rating_flow_m3_s * TAP_STEPS[setting] / AT_RATING
        return float(free * (1.0 - LINEAR_FALL * x - SQUARE_FALL * x * x))

    def external_static_pa(self, setting: int, flow_m3_s: float) -> float:
        """Return the external static at which a setting moves a flow: the curve's inverse."""
        free = self.rating_flow_m3_s * self.unit_factor * TAP_STEPS[setting] / AT_RATING
        lost = max(1.0 - flow_m3_s / free, 0.0)
        root = np.sqrt(LINEAR_FALL**2 + 4.0 * SQUARE_FALL * lost)
        return float(HALF_INCH_OF_WATER_PA * (root - LINEAR_FALL) / (2.0 * SQUARE_FALL))


def blower_table(seeded: Seeded, equipment: Equipment, blower: Blower) -> BlowerTable | None:
    """Return the maker's table as somebody typed it in, or None for a blower without taps."""
    if not blower.is_tapped:
        return None
    rows = []
    rows_as_sent = []
    for setting in range(len(TAP_STEPS)):
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
