"""Findings: things about a measurement worth saying, each with its meaning and what to do.

A finding never refuses a record; it stands beside the result. Severity: `note` (good to know),
`warning` (the number is weaker than it looks), `serious` (do not act on the number before this
is cleared up). Rules that decide when one applies stand in `plausibility`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Severity = Literal["note", "warning", "serious"]
SEVERITIES: Final[tuple[Severity, ...]] = ("serious", "warning", "note")


@dataclass(frozen=True, slots=True)
class Finding:
    """One kind of finding."""

    code: str
    severity: Severity
    meaning: str
    advice: str


@dataclass(frozen=True, slots=True)
class Found:
    """A finding that applies, in the words for this measurement."""

    finding: Finding
    message: str
    pointer: str = ""

    def as_dict(self) -> dict[str, str]:
        """Return the finding as results keep it."""
        return {
            "code": self.finding.code,
            "severity": self.finding.severity,
            "message": self.message,
            "advice": self.finding.advice,
            "pointer": self.pointer,
        }


CATALOGUE: Final[tuple[Finding, ...]] = (
    # What was assumed.
    Finding(
        "call_unknown",
        "warning",
        "It is not on record what the system was asked to do.",
        "Record the call (cooling, heating, fan only); without it the flow is not judged.",
    ),
    Finding(
        "dry_bulb_assumed",
        "warning",
        "No dry-bulb temperature was given; a usual one for this air path was taken.",
        "Read the dry bulb beside the traverse next time: temperature matters most.",
    ),
    Finding(
        "humidity_assumed",
        "note",
        "No humidity was given; 50 % was taken and the interval widened to hold 0 to 100 %.",
        "Read relative humidity, wet bulb or dew point next time.",
    ),
    Finding(
        "pressure_from_elevation",
        "note",
        "No barometer was read; the pressure follows from the elevation, give or take weather.",
        "Read the station barometer where the last percent matters.",
    ),
    Finding(
        "pressure_from_sea_level",
        "warning",
        "Neither barometer nor elevation is known; sea level was taken.",
        "Enter the site's elevation: 300 m (1,000 ft) change the density by some 3.5 %.",
    ),
    Finding(
        "barometer_reduced_to_sea_level",
        "serious",
        "The barometer reads like sea level, but the site lies high: weather reports are reduced "
        "to sea level.",
        "Enter the station pressure, not the weather report's, or leave it out.",
    ),
    Finding(
        "dry_bulb_unlikely",
        "warning",
        "The dry bulb is unusual for this air path.",
        "Check the thermometer, its unit and the air path of the section.",
    ),
    # The instrument.
    Finding(
        "accuracy_unknown",
        "warning",
        "The instrument's accuracy is not on record; 5 % of reading was taken.",
        "Enter the accuracy from its data sheet or certificate.",
    ),
    Finding(
        "compensation_unknown",
        "warning",
        "It is not known what the display compensates or shows; the interval holds each case.",
        "Look it up in the instrument's manual and enter it.",
    ),
    Finding(
        "calibration_overdue",
        "warning",
        "The instrument was out of calibration on that day.",
        "Have it calibrated; results are recomputed when the calibration is entered.",
    ),
    Finding(
        "calibration_corrected_later",
        "warning",
        "A later calibration found the instrument off, and this reading is corrected with it.",
        "Measure again with a meter in calibration where the verdict matters.",
    ),
    Finding(
        "calibration_missing",
        "note",
        "No calibration of the instrument on or before that day is on record.",
        "Enter its calibration, or have it calibrated.",
    ),
    Finding(
        "below_instrument_range",
        "warning",
        "Readings lie below the instrument's range.",
        "Measure where the air is faster, or with an instrument made for it.",
    ),
    Finding(
        "above_instrument_range",
        "warning",
        "Readings lie above the instrument's range.",
        "Measure with an instrument made for it.",
    ),
    Finding(
        "dead_band",
        "serious",
        "A thermal sensor reads nothing it can stand behind this low: the result is a bound.",
        "Measure in a smaller section, or with another instrument.",
    ),
    Finding(
        "pitot_too_slow",
        "warning",
        "A pitot tube has almost no pressure to read this low: a small zero error is large here.",
        "Zero the meter, or use a thermal or vane instrument under some 600 ft/min (3 m/s).",
    ),
    Finding(
        "vane_too_slow",
        "note",
        "Below 200 ft/min (1 m/s) bearing drag makes a vane depend on density; the interval is "
        "widened.",
        "Use a thermal instrument for slow air.",
    ),
    Finding(
        "swirl_not_correctable",
        "warning",
        "Where the air turns, a sensor that feels every direction reads too much; how much "
        "can't be told afterwards.",
        "Measure further from the fitting, or with a sensor that feels only the axis.",
    ),
    # The readings.
    Finding(
        "backflow",
        "warning",
        "Some readings are negative: air comes back there. They count with their sign.",
        "Choose a section further from the fitting.",
    ),
    Finding(
        "readings_all_equal",
        "note",
        "All readings are the same, which air in a duct hardly ever is.",
        "Check that each point was read and typed.",
    ),
    Finding(
        "reading_over_twice_mean",
        "warning",
        "A reading is over twice the mean.",
        "Check it for a slip; read it again where it can still be read.",
    ),
    Finding(
        "profile_uneven",
        "warning",
        "More than a quarter of the points lie under a tenth of the largest velocity pressure.",
        "Choose a straighter section: the profile is too uneven for a good traverse.",
    ),
    Finding(
        "readings_missing",
        "warning",
        "Readings are missing; the others stand for them, and the interval is wider.",
        "Take the missing points where they can still be read.",
    ),
    Finding(
        "line_missing",
        "serious",
        "A whole line is missing: the result is indicative only.",
        "Take the missing line.",
    ),
    Finding(
        "too_few_readings",
        "serious",
        "Fewer than four readings: the result is indicative only.",
        "Take the whole traverse.",
    ),
    Finding(
        "overall_average_only",
        "warning",
        "Only the instrument's overall average is known: the result is indicative.",
        "Record each line's mean, or each point.",
    ),
    Finding(
        "pressures_averaged",
        "warning",
        "A mean of velocity pressures was sent: the root of a mean reads more than the mean of "
        "the roots where the air is uneven.",
        "Record each point, or let the meter average velocities.",
    ),
    Finding(
        "velocity_low",
        "note",
        "The mean velocity is under 200 ft/min (1 m/s), unusual in a comfort system.",
        "Check the unit and the section.",
    ),
    Finding(
        "velocity_high",
        "warning",
        "The mean velocity is over 2,500 ft/min (12.7 m/s), unusual in a comfort system.",
        "Check the unit and the section.",
    ),
    Finding(
        "velocity_high_for_residence",
        "note",
        "The mean velocity is over 1,200 ft/min (6.1 m/s), high for a residence.",
        "Check the duct size; noise and pressure loss grow fast.",
    ),
    Finding(
        "flow_per_capacity_unlikely",
        "warning",
        "The flow is under 150 or over 900 (ft3/min)/ton (20 or 121 L/s per kW).",
        "Check the unit of the readings, the section's sizes and the capacity.",
    ),
    Finding(
        "unit_suspect",
        "serious",
        "The flow is off by a factor that smells of a wrong unit.",
        "Check the unit of readings and sizes; correct the record if it was a slip.",
    ),
    # The section and its holes.
    Finding(
        "siting_poor",
        "warning",
        "There is less straight duct about the section than guidance asks for.",
        "Choose a straighter section where there is one; the interval is wider here.",
    ),
    Finding(
        "disturbance_near",
        "warning",
        "A fitting stands within two hydraulic diameters upstream; the interval is widened.",
        "Choose a section further downstream.",
    ),
    Finding(
        "blades_near",
        "serious",
        "Blades stand within five hydraulic diameters and the grid is too coarse for their wakes.",
        "Measure with at least seven lines across the blades, or elsewhere.",
    ),
    Finding(
        "two_diameters",
        "note",
        "Two diameters can't see every kind of field in a round duct.",
        "Drill a third diameter next time.",
    ),
    Finding(
        "holes_off_plan",
        "note",
        "Holes or depths are off the plan; each reading counts for what its place stands for.",
        "Nothing to do: the true positions are on record.",
    ),
    Finding(
        "copying_slip",
        "warning",
        "The layout isn't symmetric as its rule is: one position looks like a copying slip.",
        "Measure that hole; if it was drilled there, leave the record as it is.",
    ),
    Finding(
        "lining_forgotten",
        "warning",
        "The holes or depths look laid out on the outside, over the lining.",
        "Lay them out on the inside; correct the record if only the note was wrong.",
    ),
    Finding(
        "holes_disagree",
        "warning",
        "The holes of this traverse and those on record for the section don't agree.",
        "Check whether inches and millimetres of one layout were mixed, or which were drilled.",
    ),
    Finding(
        "area_jumped",
        "warning",
        "The section's area differs from what it was at the last traverse.",
        "Check the sizes: the flow changes with the area.",
    ),
    Finding(
        "flexible_duct",
        "warning",
        "Flexible duct is not drilled, and its inside is not its nominal size.",
        "Choose a rigid section.",
    ),
    # The judgement.
    Finding(
        "no_capacity",
        "note",
        "The system's capacity is not on record, so there is no flow per capacity.",
        "Enter the rated capacity, or the nominal one.",
    ),
    Finding(
        "no_target",
        "note",
        "There is no target for this system in this operating state.",
        "Enter the design flow, or the maker's range.",
    ),
    Finding(
        "part_of_system",
        "note",
        "This is the flow in this duct: several sections add up to the system.",
        "Judge the flow-set, not one of its members.",
    ),
    Finding(
        "fan_only_not_judged",
        "note",
        "Fan-only often runs another speed, so this says nothing about cooling.",
        "Measure in cooling, or record that the blower setting is the same.",
    ),
    Finding(
        "target_basis_needed",
        "warning",
        "On standard and on actual air the verdicts differ, and the target's basis isn't known "
        "from the maker.",
        "Look up the basis of the target and enter it.",
    ),
    Finding(
        "range_narrower_than_uncertainty",
        "note",
        "The interval is nearly as wide as the target range: a pass can hardly be shown.",
        "Measure more precisely, or accept that it can't be decided.",
    ),
    # By another way.
    Finding(
        "methods_disagree",
        "warning",
        "By another way the flow differs by more than both ways leave open.",
        "Check both: the section and its sizes, the heat, the temperatures, the hood.",
    ),
    Finding(
        "temperature_rise_unlikely",
        "warning",
        "The air leaves no warmer than it enters, although heat was put in.",
        "Check which temperature is which, and whether the heat was on.",
    ),
    Finding(
        "external_static_high",
        "warning",
        "Total external static is over what the unit may have.",
        "Look at filter, coil, registers and ducts before the blower.",
    ),
    Finding(
        "possible_leakage",
        "warning",
        "Return and supply carry different flows of standard air.",
        "Look for open joints and panels between the two sections, and at any outdoor intake.",
    ),
    # Before and after.
    Finding(
        "as_left_before_as_found",
        "warning",
        "The as-left traverse is earlier than the as-found one.",
        "Check the two times.",
    ),
    Finding(
        "states_not_comparable",
        "warning",
        "As found and as left were measured in different operating states.",
        "Measure again in the state of the first one.",
    ),
    Finding(
        "prediction_missed",
        "note",
        "The flow as left is not what the change of the blower explains.",
        "See what else was changed, and whether one of the two traverses is off.",
    ),
)

BY_CODE: Final[dict[str, Finding]] = {finding.code: finding for finding in CATALOGUE}


def found(code: str, message: str | None = None, pointer: str = "") -> Found:
    """Return a finding that applies; without a message its general meaning is said."""
    finding = BY_CODE[code]
    return Found(finding, message or finding.meaning, pointer)


def in_order(findings: list[Found]) -> list[dict[str, str]]:
    """Return findings as results keep them: serious ones first, else as they came."""
    ranked = sorted(findings, key=lambda item: SEVERITIES.index(item.finding.severity))
    return [item.as_dict() for item in ranked]
