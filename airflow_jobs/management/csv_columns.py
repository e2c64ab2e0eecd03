"""The columns of a CSV file of history, and its header."""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from .history_rows import BadFile

CONDITIONS: Final = (
    "dry_bulb",
    "relative_humidity",
    "wet_bulb",
    "dew_point",
    "barometric_pressure",
    "elevation",
    "duct_static",
)
STATE_WORDS: Final = (
    "call",
    "capacity_step",
    "blower_setting",
    "coil",
    "filter",
    "outdoor_damper",
    "zones_open",
)
WITH_UNITS: Final = (*CONDITIONS, "readings")
NUMBERS: Final = (*WITH_UNITS, "steady_minutes", "seconds", "lines")
# What the problems of a row are written into for a second try, and read over there.
PROBLEM: Final = "problem"

COLUMNS: Final[dict[str, str]] = {
    "id": "id of the traverse (a UUID); left out, it is made from what the row says",
    "visit": "id of the visit; or leave it out and give site (and visit_on, crew)",
    "site": "id or name of the site",
    "visit_on": "day of the visit at the site, as 2019-07-08; left out, the day of taken_at",
    "crew": "id or name of the crew, where several visited the site on that day",
    "equipment": "id or tag of the system; needed where duct_section is a name",
    "duct_section": "id or name of the duct section",
    "instrument": "id, serial or label of the instrument",
    "stage": "as_found, as_left or check",
    "taken_at": "2019-07-08T14:12:00-05:00; without an offset it is the site's local time",
    "mode": "points (the default) or average",
    "readings": "line|line|…, each reading;reading;…, empty where none was taken; one number "
    "for an average",
    "readings_unit": "m/s, ft/min, km/h, mi/h, Pa or inH2O",
    "seconds": "how long an average took",
    "lines": "over how many lines an average went",
    "taken_in": "line_by_line (the default) or back_and_forth",
    "repeats": "id of the traverse that this one checks",
    "call": "cooling, heating, fan_only, dehumidify or unknown (the default)",
    "capacity_step": "text",
    "blower_setting": "text",
    "coil": "wet or dry",
    "filter": "clean, loaded or none",
    "outdoor_damper": "text",
    "zones_open": "text",
    "steady_minutes": "how long it had run like this",
    "dry_bulb": "temperature of the air in the duct",
    "relative_humidity": "or wet_bulb, or dew_point",
    "wet_bulb": "temperature",
    "dew_point": "temperature",
    "barometric_pressure": "station pressure, not reduced to sea level",
    "elevation": "where it isn't the site's",
    "duct_static": "static pressure in the duct against the room",
    **{f"{name}_unit": f"unit of {name}" for name in CONDITIONS},
    "notes": "text",
    PROBLEM: "read over; load_history writes it",
}
NEEDED: Final = (
    ("visit", "site"),
    ("duct_section",),
    ("instrument",),
    ("stage",),
    ("taken_at",),
    ("readings",),
)
_WITH_UNIT: Final = re.compile(r"(.*?)\s*(?:\[(.*)\]|\((.*)\))")


@dataclass(frozen=True)
class Header:
    """What the first line of a file says."""

    titles: tuple[str, ...]
    """As they stand there."""
    names: tuple[str, ...]
    """Known names, in the same order; empty for a column that is read over."""
    units: dict[str, str]
    """By column, where the title names one."""


def delimiter_of(first_line: str) -> str:
    """Return what separates the columns: what gives the most known titles."""

    def known(delimiter: str) -> int:
        titles = next(csv.reader([first_line], delimiter=delimiter), [])
        return sum(_named(title)[0] in COLUMNS for title in titles)

    return max((",", ";", "\t"), key=known)


def header_of(titles: Sequence[str], ignored: Sequence[str]) -> Header:
    """Read the titles of the columns.

    Parameters
    ----------
    titles
        The cells of the first line.
    ignored
        Titles of columns to read over.

    Raises
    ------
    BadFile
        If one is unknown or stands twice, or one that is needed is missing.
    """
    names, units = [], {}
    over = {title.strip().lower() for title in ignored}
    for title in titles:
        name, unit = _named(title)
        if title.strip().lower() in over or not title.strip():
            names.append("")
            continue
        if name not in COLUMNS:
            near = difflib.get_close_matches(name, COLUMNS, n=1)
            hint = f"did you mean {near[0]}? R" if near else "r"
            raise BadFile(
                f"the column {title.strip()!r} is not known: {hint}ename it, or read over it with "
                f"--ignore {title.strip()!r}; --help lists the columns."
            )
        if name in names:
            raise BadFile(f"the column {name} stands twice: take one of them away.")
        if unit and name not in WITH_UNITS:
            raise BadFile(f"the column {title.strip()!r} names a unit, but {name} has none.")
        if unit:
            units[name] = unit
        names.append(name)
    missing = [" or ".join(group) for group in NEEDED if not set(group) & set(names)]
    if missing:
        raise BadFile(
            f"these columns are missing: {', '.join(missing)}. The first line must name the "
            "columns; --help lists them."
        )
    return Header(tuple(titles), tuple(names), units)


def _named(title: str) -> tuple[str, str]:
    title = title.strip()
    match = _WITH_UNIT.fullmatch(title)
    name, unit = (match[1], match[2] or match[3] or "") if match else (title, "")
    return name.strip().lower().replace(" ", "_"), unit.strip()
