"""Positions of holes and depths: whether they can be in this duct at all."""

from __future__ import annotations

from typing import Any

import numpy as np

from airflow_jobs.calc.ovals import oval_chord
from airflow_jobs.calc.sections import InsideSection
from airflow_jobs.models import DuctSection, Shape

from .constraints import BrokenRule

# A tape read to a millimetre, and half of its rounding to sixteenths of an inch.
TAPE_M = 0.001


def along_key(section: DuctSection) -> str:
    """Return what the holes of a section are given by: `angles` if it is round, else `lines`."""
    return "angles" if section.shape == Shape.ROUND else "lines"


def broken_positions(
    positions: dict[str, Any], section: DuctSection, inside: InsideSection, pointer: str
) -> list[BrokenRule]:
    """Return what is wrong with positions (in SI) as places in this section.

    Parameters
    ----------
    positions
        `lines` (m) or `angles` (deg), and `depths` (m), each optional.
    section, inside
        The section and its inside.
    pointer
        Where the positions stand in what was sent.
    """
    key = along_key(section)
    wrong = "lines" if key == "angles" else "angles"
    broken: list[BrokenRule] = []
    if positions.get(wrong):
        broken.append(
            BrokenRule(
                f"{pointer}/{wrong}",
                "not_for_this_shape",
                f"A {section.shape} section has {key}, not {wrong}.",
            )
        )
        return broken
    along_m, _ = inside.extents_m(section.drilled_side)  # type: ignore[arg-type]
    for number, value in enumerate(positions.get(key) or ()):
        place = f"{pointer}/{key}/{number}"
        if key == "angles":
            if not 0.0 <= value < 360.0:
                broken.append(
                    BrokenRule(place, "out_of_range", f"{value:g} deg is not within 0 to 360 deg.")
                )
        elif not 0.0 <= value <= along_m + TAPE_M:
            broken.append(_outside(place, "distance along the drilled side", value, along_m))
    depths = positions.get("depths")
    lines = positions.get(key)
    if depths and lines and len(depths) != len(lines):
        broken.append(
            BrokenRule(
                f"{pointer}/depths",
                "wrong_length",
                f"There are {len(depths)} lists of depths for {len(lines)} {key}: "
                "give one list of depths a line.",
            )
        )
        return broken
    for number, line in enumerate(depths or ()):
        deep_m = _depth_at(section, inside, (lines or [])[number] if lines else None)
        for index, value in enumerate(line):
            if not 0.0 <= value <= deep_m + TAPE_M:
                place = f"{pointer}/depths/{number}/{index}"
                broken.append(_outside(place, "insertion depth", value, deep_m))
    if depths and len({len(line) for line in depths}) > 1:
        counts = ", ".join(str(len(line)) for line in depths)
        broken.append(
            BrokenRule(
                f"{pointer}/depths",
                "ragged",
                f"The lines have {counts} depths; each line needs the same number of them.",
            )
        )
    return broken


def _depth_at(section: DuctSection, inside: InsideSection, line_m: float | None) -> float:
    """Return how deep the section is at a line, m (an oval's ends are shallower)."""
    along_m, across_m = inside.extents_m(section.drilled_side)  # type: ignore[arg-type]
    if section.shape != Shape.FLAT_OVAL or line_m is None or not 0.0 <= line_m <= along_m:
        return across_m
    xi = np.asarray(2.0 * line_m / along_m - 1.0)
    return float(oval_chord(xi, along_m / across_m)) * across_m


def _outside(pointer: str, what: str, value_m: float, limit_m: float) -> BrokenRule:
    return BrokenRule(
        pointer,
        "outside_the_duct",
        f"A {what} of {value_m * 1000:.0f} mm is outside the duct, which is "
        f"{limit_m * 1000:.0f} mm ({limit_m / 0.0254:.2f} in) inside: "
        "measure from the inside face, and check the unit.",
    )
