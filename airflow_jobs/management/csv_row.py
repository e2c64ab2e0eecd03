"""One row of a CSV file of history, turned into the body that a client would send."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from airflow_jobs.models import DuctSection, Site

from .csv_columns import CONDITIONS, STATE_WORDS
from .history_rows import Problem
from .named_rows import NamedRows, NotNamed, uuid_of
from .typed_numbers import DecimalSigns, Unreadable

Found = TypeVar("Found")


@dataclass(frozen=True)
class Cells:
    """The cells of a row by column."""

    texts: dict[str, str]
    units: dict[str, str]
    """Units that the titles name, by column."""

    def text(self, name: str) -> str:
        """Return a cell; empty where there is no such column."""
        return self.texts.get(name, "")

    def unit(self, name: str) -> str:
        """Return the unit of a column: the row's own, else the title's."""
        return self.text(f"{name}_unit") or self.units.get(name, "")


def body_of(
    cells: Cells, signs: DecimalSigns, named: NamedRows
) -> tuple[dict[str, Any], list[Problem]]:
    """Turn a row into a body.

    Parameters
    ----------
    cells
        The row.
    signs
        How its numbers are read.
    named
        Where names are looked up.

    Returns
    -------
    tuple
        The body, and what is wrong; the body is complete only where that is nothing.
    """
    reading = _RowReading(cells, signs, named)
    return reading.body(), reading.problems


class _RowReading:
    def __init__(self, cells: Cells, signs: DecimalSigns, named: NamedRows) -> None:
        self.cells = cells
        self.signs = signs
        self.named = named
        self.problems: list[Problem] = []

    def body(self) -> dict[str, Any]:
        text = self.cells.text
        site = self._site()
        section = self._section(site)
        if site is None and section is not None:
            site = section.equipment.site
        taken_at = self._taken_at(site)
        state: dict[str, Any] = {}
        for name in STATE_WORDS:
            if text(name):
                state[name] = (
                    _word(text(name)) if name in {"call", "coil", "filter"} else text(name)
                )
        if text("steady_minutes"):
            state["steady_minutes"] = self._number("steady_minutes", text("steady_minutes"))
        mode = _word(text("mode")) or "points"
        body: dict[str, Any] = {
            "id": text("id") or None,
            "visit": self._visit(site, taken_at),
            "duct_section": self._section_id(section),
            "instrument": self._instrument(),
            "repeats": text("repeats") or None,
            "stage": _word(text("stage")) or None,
            "taken_at": taken_at.isoformat() if taken_at is not None else None,
            "mode": mode,
            "operating_state": state or None,
            "conditions": self._conditions() or None,
            "readings": self._average() if mode == "average" else self._points(mode),
            "taken_in": _word(text("taken_in")) or None,
            "notes": text("notes") or None,
        }
        return {name: value for name, value in body.items() if value is not None}

    def _refuse(self, column: str, reason: str, value: str | None = None) -> None:
        shown = self.cells.text(column) if value is None else value
        self.problems.append(Problem(column, shown, reason))

    def _looked_up(self, column: str, look: Callable[[], Found]) -> Found | None:
        try:
            return look()
        except NotNamed as error:
            self._refuse(column, str(error))
            return None

    def _site(self) -> Site | None:
        name = self.cells.text("site")
        if name:
            return self._looked_up("site", lambda: self.named.site(name))
        identifier = uuid_of(self.cells.text("visit"))
        if identifier is None:
            return None
        visit = self.named.visit_of_id(identifier)
        if visit is None:
            self._refuse("visit", "there is no visit with this id: add it first, or correct it")
            return None
        return visit.site

    def _visit(self, site: Site | None, taken_at: datetime.datetime | None) -> str | None:
        given, day_given = self.cells.text("visit"), self.cells.text("visit_on")
        if given:
            if uuid_of(given) is None:
                self._refuse(
                    "visit", "this is no id: a visit goes by its id, or by site, visit_on and crew"
                )
            return given
        if site is None:
            if not self.cells.text("site"):
                self._refuse("site", "give the site, or the id of the visit as visit")
            return None
        if day_given:
            try:
                day = datetime.date.fromisoformat(day_given)
            except ValueError:
                self._refuse("visit_on", "this is no day: write it as 2019-07-08")
                return None
        elif taken_at is None:
            return None
        else:
            day = taken_at.astimezone(ZoneInfo(site.time_zone)).date()
        crew = self.cells.text("crew")
        visit = self._looked_up("site", lambda: self.named.visit(site, day, crew))
        return str(visit.pk) if visit is not None else None

    def _section(self, site: Site | None) -> DuctSection | None:
        name, tag = self.cells.text("duct_section"), self.cells.text("equipment")
        if not name:
            self._refuse("duct_section", "give the duct section, by id or name")
            return None
        if uuid_of(name) is not None:
            return None
        if not tag:
            self._refuse("equipment", "give the tag of the system that the duct section belongs to")
            return None
        if site is None:
            if not self.cells.text("site"):
                self._refuse("site", "give the site, by which equipment is looked up")
            return None
        system = self._looked_up("equipment", lambda: self.named.equipment(site, tag))
        if system is None:
            return None
        return self._looked_up("duct_section", lambda: self.named.section(system, name))

    def _section_id(self, section: DuctSection | None) -> str | None:
        return str(section.pk) if section is not None else self.cells.text("duct_section") or None

    def _instrument(self) -> str | None:
        name = self.cells.text("instrument")
        if not name:
            self._refuse("instrument", "give the instrument, by id, serial or label")
            return None
        if uuid_of(name) is not None:
            return name
        found = self._looked_up("instrument", lambda: self.named.instrument(name))
        return str(found.pk) if found is not None else None

    def _taken_at(self, site: Site | None) -> datetime.datetime | None:
        text = self.cells.text("taken_at")
        if not text:
            self._refuse("taken_at", "give when it was taken, as 2019-07-08T14:12:00-05:00")
            return None
        try:
            if len(text) <= len("2019-07-08"):
                raise ValueError("a day without a time")
            moment = datetime.datetime.fromisoformat(text)
        except ValueError:
            self._refuse(
                "taken_at",
                "this is no instant: write it as 2019-07-08T14:12:00-05:00, or as "
                "2019-07-08 14:12 in the site's local time",
            )
            return None
        if moment.tzinfo is not None:
            return moment
        if site is None:
            if self.cells.text("site"):
                # That it is unknown was said.
                return None
            self._refuse(
                "taken_at",
                "it has no offset from UTC, and no site whose local time it could be: write it "
                "as 2019-07-08T14:12:00-05:00, or give the site",
            )
            return None
        return self._local(moment, ZoneInfo(site.time_zone))

    def _local(self, moment: datetime.datetime, zone: ZoneInfo) -> datetime.datetime | None:
        early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if early.utcoffset() != late.utcoffset():
            # In autumn an hour comes twice; in spring one is left out.
            there = early.astimezone(datetime.UTC).astimezone(zone).replace(tzinfo=None)
            what = "came twice that night" if there == moment else "did not exist that night"
            self._refuse(
                "taken_at",
                f"this local time {what}, as the clocks changed in {zone.key}: write it with its "
                "offset, as 2019-07-08T14:12:00-05:00",
            )
            return None
        return early

    def _conditions(self) -> dict[str, Any]:
        found = {}
        for name in CONDITIONS:
            text = self.cells.text(name)
            if not text:
                continue
            value = self._number(name, text)
            unit = self._unit(name, f"{name}_unit")
            if value is not None and unit:
                found[name] = {"value": value, "unit": unit}
        return found

    def _unit(self, name: str, column: str) -> str:
        unit = self.cells.unit(name)
        if not unit:
            self._refuse(
                name,
                f"its unit is missing: name it in the title, as '{name} [unit]', or in {column}",
            )
        return unit

    def _number(self, column: str, text: str, place: str = "") -> int | float | None:
        try:
            return self.signs.read(text)
        except Unreadable as error:
            self._refuse(f"{column}{place}", str(error), text)
            return None

    def _average(self) -> dict[str, Any] | None:
        text = self.cells.text("readings")
        if not text:
            self._refuse("readings", "give the average")
            return None
        readings = {
            "unit": self._unit("readings", "readings_unit"),
            "mean": self._number("readings", text),
        }
        for name in ("seconds", "lines"):
            if self.cells.text(name):
                readings[name] = self._number(name, self.cells.text(name))
        return readings

    def _points(self, mode: str) -> dict[str, Any] | None:
        text = self.cells.text("readings")
        if mode != "points":
            self._refuse("mode", "points or average is due; sweeps come as JSON lines", mode)
            return None
        if not text:
            self._refuse("readings", "give the readings: reading;reading;…|reading;reading;…")
            return None
        return {
            "unit": self._unit("readings", "readings_unit"),
            "values": [
                [
                    self._number("readings", value, f" (line {number}, point {index})")
                    if value.strip()
                    else None
                    for index, value in enumerate(line.split(";"), start=1)
                ]
                for number, line in enumerate(text.split("|"), start=1)
            ],
        }


def _word(text: str) -> str:
    return text.lower().replace(" ", "_")
