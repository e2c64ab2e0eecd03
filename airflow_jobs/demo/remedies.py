"""Remedies: what a crew changes on a system, and where the flow comes to lie by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from airflow_jobs.models import AdjustmentKind, EquipmentKind, FanDrive

from .blowers import FURTHEST_SPEED_STEP, LEAST_STATIC_PA, Standing
from .seeded import Seeded
from .systems import System

BLOWER_WHEN_LOW, BLOWER_WHEN_HIGH = 0.3, 0.7
"""How often a crew reaches for the blower first."""
SPREAD_LEFT: Final = 0.035
MARGIN: Final = 0.03
"""How far inside a limit a careful crew wants to be, of nominal."""
SHORT_BY: Final = 0.015
"""How far beyond a limit a flow is that falls short."""
LEAST_GAIN: Final = 0.02
"""A change that brings less is not left at that."""
LEAST_EFFECT: Final = 0.01
"""What a filter or a damper does at least, relative."""


@dataclass(frozen=True)
class Change:
    """What was done to a system."""

    kind: str
    from_value: str
    to_value: str
    notes: str = ""


@dataclass(frozen=True)
class Trouble:
    """What a crew stands before.

    Attributes
    ----------
    found
        Where the blower stands.
    ratio
        Flow over the flow asked for.
    low, high
        Limits of that ratio.
    nominal_m3_s
        Ratio 1 as the blower moves it, m3/s.
    """

    found: Standing
    ratio: float
    low: float
    high: float
    nominal_m3_s: float

    @property
    def is_low(self) -> bool:
        """Whether there should be more."""
        return self.ratio < 1.0

    def is_settled_by(self, ratio: float) -> bool:
        """Whether a careful crew leaves it at a ratio."""
        nearer = abs(ratio - 1.0) < abs(self.ratio - 1.0) - LEAST_GAIN
        return nearer and self.low + MARGIN <= ratio <= self.high - MARGIN

    def falls_short_at(self, ratio: float) -> bool:
        """Whether a ratio is better than what was found, and still outside."""
        if self.is_low:
            return self.ratio + LEAST_GAIN <= ratio <= self.low * (1.0 - SHORT_BY)
        return self.high * (1.0 + SHORT_BY) <= ratio <= self.ratio - LEAST_GAIN


@dataclass(frozen=True)
class Remedy:
    """What was changed, and where the blower stands afterwards."""

    changes: list[Change]
    left: Standing


def remedied(seeded: Seeded, system: System, trouble: Trouble, *, falls_short: bool) -> Remedy:
    """Return what a crew does about a system.

    A change of the blower moves the flow along the ducts' curve, and a crew takes the setting
    that serves; where none does, it looks for the resistance, which a change of filter, coil,
    damper or duct sets anew.

    Parameters
    ----------
    seeded
        Where chance comes from.
    system
        The system.
    trouble
        What was found.
    falls_short
        Whether the crew stops while the flow is still outside.
    """
    wants_blower = seeded.chance(BLOWER_WHEN_LOW if trouble.is_low else BLOWER_WHEN_HIGH)
    if wants_blower and system.blower.drive != FanDrive.UNKNOWN:
        left = _by_blower(system, trouble, falls_short=falls_short)
        if left is not None:
            return Remedy([_blower_change(system, trouble.found, left)], left)
    return _by_resistance(seeded, system, trouble, falls_short=falls_short)


def _by_blower(system: System, trouble: Trouble, *, falls_short: bool) -> Standing | None:
    """Return where the setting that serves leaves the blower; None where none serves."""
    blower, found = system.blower, trouble.found
    reach = FURTHEST_SPEED_STEP if blower.has_speeds else len(blower.steps)
    outcomes = [
        blower.changed(found, setting)
        for setting in blower.settings
        if 0 < abs(setting - found.setting) <= reach
    ]
    serves = trouble.falls_short_at if falls_short else trouble.is_settled_by
    serving = [item for item in outcomes if serves(item.flow_m3_s / trouble.nominal_m3_s)]
    return min(
        serving,
        key=lambda item: (
            abs(item.setting - found.setting)
            if falls_short
            else abs(item.flow_m3_s / trouble.nominal_m3_s - 1.0)
        ),
        default=None,
    )


def _by_resistance(
    seeded: Seeded, system: System, trouble: Trouble, *, falls_short: bool
) -> Remedy:
    blower, found = system.blower, trouble.found
    if falls_short:
        ratio = _short_of(seeded, trouble)
    else:
        low, high = trouble.low + MARGIN, trouble.high - MARGIN
        ratio = min(max(seeded.normal(1.0, SPREAD_LEFT), low), high)
        # No new filter takes flow away, and no damper that is closed gives some.
        least, most = trouble.ratio * (1.0 + LEAST_EFFECT), trouble.ratio * (1.0 - LEAST_EFFECT)
        ratio = max(ratio, least) if trouble.is_low else min(ratio, most)
    changes = [_resistance_change(seeded, system, trouble.is_low)]
    left = blower.at(found.setting, ratio * trouble.nominal_m3_s)
    if left.static_pa < LEAST_STATIC_PA:
        # However open the ducts, this setting moves no more: the blower has to follow.
        left = blower.at(blower.setting_near(found.setting, left.flow_m3_s), left.flow_m3_s)
        changes.append(_blower_change(system, found, left))
    return Remedy(changes, left)


def _short_of(seeded: Seeded, trouble: Trouble) -> float:
    low, high, ratio = trouble.low, trouble.high, trouble.ratio
    if trouble.is_low:
        wanted = low * (0.98 - seeded.gamma(0.05, 2.0))
        return min(max(wanted, ratio * (1.0 + LEAST_GAIN)), low * (1.0 - SHORT_BY))
    wanted = high * (1.0 + LEAST_GAIN + seeded.gamma(0.04, 2.0))
    return max(min(wanted, ratio), high * (1.0 + SHORT_BY))


def _blower_change(system: System, found: Standing, left: Standing) -> Change:
    blower = system.blower
    return Change(
        AdjustmentKind.SPEED if blower.has_speeds else AdjustmentKind.BLOWER_SETTING,
        blower.name(found.setting),
        blower.name(left.setting),
    )


def _resistance_change(seeded: Seeded, system: System, is_low: bool) -> Change:
    """Return something that explains what was found, and that somebody then changed."""
    if not is_low:
        return Change(AdjustmentKind.DAMPER, "fully open", "set to its mark")
    if system.kind == EquipmentKind.VENTILATION:
        return seeded.pick(LOW_VENTILATION_CHANGES)
    return seeded.pick(LOW_CHANGES)


LOW_CHANGES: Final = (
    Change(AdjustmentKind.FILTER, "loaded", "new"),
    Change(AdjustmentKind.FILTER, "loaded", "new"),
    Change(AdjustmentKind.FILTER, "wrong size, bypassing", "new, right size"),
    Change(AdjustmentKind.DAMPER, "half closed", "open"),
    Change(AdjustmentKind.DAMPER, "zone dampers shut", "two zones open"),
    Change(AdjustmentKind.DUCT_REPAIR, "return boot open", "sealed"),
    Change(AdjustmentKind.DUCT_REPAIR, "crushed branch", "straightened and hung"),
    Change(AdjustmentKind.CLEANING, "coil matted", "coil washed"),
    Change(AdjustmentKind.OTHER, "return grille behind a cabinet", "cabinet moved"),
)
LOW_VENTILATION_CHANGES: Final = (
    Change(AdjustmentKind.FILTER, "loaded", "new"),
    Change(AdjustmentKind.DAMPER, "half closed", "open"),
    Change(AdjustmentKind.CLEANING, "intake screen matted", "cleaned"),
    Change(AdjustmentKind.DUCT_REPAIR, "open joint", "sealed"),
)
