"""Take a traverse without a connection: choose from what was synced, type the readings."""

from __future__ import annotations

import argparse
import datetime
from collections.abc import Callable, Mapping
from typing import Any

from .service import Trouble
from .store import Store

CONDITIONS = ("dry_bulb", "relative_humidity", "barometric_pressure")


def taken(options: argparse.Namespace, store: Store, ask: Callable[[str], str]) -> dict[str, Any]:
    """Return the content of a traverse as a technician enters it point by point.

    Parameters
    ----------
    options
        The command's options; what they leave open is asked.
    store
        Where the reference data are.
    ask
        Puts a question and returns the answer.

    Raises
    ------
    Trouble
        If something was named that isn't here.
    """
    sites, equipment = store.reference("sites"), store.reference("equipment")
    visits = {
        key: f"{visit['planned_for'] or visit['started_at'] or 'no date'}  "
        f"{sites[visit['site']]['name']}, {visit['purpose']}"
        for key, visit in store.reference("visits").items()
        if not visit["finished_at"] and visit["site"] in sites
    }
    visit = _chosen("visit", visits, options.visit, ask)
    site = store.reference("visits")[visit]["site"]
    sections = {
        key: f"{equipment[section['equipment']]['tag']}, {section['name']}"
        for key, section in _in_use(store, "duct-sections").items()
        if equipment.get(section["equipment"], {}).get("site") == site
    }
    instruments = {
        key: f"{instrument['label']} {instrument['serial']}".strip()
        for key, instrument in _in_use(store, "instruments").items()
    }
    content = {
        "visit": visit,
        "duct_section": _chosen("duct section", sections, options.section, ask),
        "instrument": _chosen("instrument", instruments, options.instrument, ask),
        "stage": options.stage,
        "taken_at": datetime.datetime.now().astimezone().isoformat(timespec="seconds"),
        "mode": "points",
        "operating_state": {"call": options.call},
        "conditions": {
            name: _quantity(getattr(options, name)) for name in CONDITIONS if getattr(options, name)
        },
        "readings": {"unit": options.unit, "values": _readings(ask)},
    }
    return {**content, "notes": options.notes} if options.notes else content


def _in_use(store: Store, resource: str) -> dict[str, dict[str, Any]]:
    records = store.reference(resource)
    return {key: record for key, record in records.items() if not record["retired_on"]}


def _chosen(
    what: str, labels: Mapping[str, str], given: str | None, ask: Callable[[str], str]
) -> str:
    """Return the id of the only one that fits what was given, or of the one that is picked."""
    fitting = [
        key
        for key, label in labels.items()
        if given is None or key.startswith(given) or given.lower() in label.lower()
    ]
    if not fitting:
        wanted = f" that fits {given!r}" if given else ""
        raise Trouble(f"There is no {what} here{wanted}: sync, or name another.")
    if len(fitting) == 1:
        return fitting[0]
    listed = "\n".join(f"{number:3}  {labels[key]}" for number, key in enumerate(fitting, 1))
    answer = ask(f"{listed}\nWhich {what} (1 to {len(fitting)})? ")
    if not answer.isdigit() or not 1 <= int(answer) <= len(fitting):
        raise Trouble(f"{answer!r} is none of them; nothing was kept.")
    return fitting[int(answer) - 1]


def _readings(ask: Callable[[str], str]) -> list[list[float | None]]:
    """Ask for one line of the duct after the other; a dash stands for a point not taken."""
    lines: list[list[float | None]] = []
    while text := ask(f"Line {len(lines) + 1} (blank when done): ").split():
        try:
            lines.append([None if reading == "-" else float(reading) for reading in text])
        except ValueError as error:
            raise Trouble(f"Readings are numbers, or - where none was taken: {error}.") from error
    if not lines:
        raise Trouble("There are no readings; nothing was kept.")
    return lines


def _quantity(text: str) -> dict[str, Any]:
    """Read a number and its unit; which units there are is for the service to say."""
    value, _, unit = text.partition(" ")
    try:
        return {"value": float(value), "unit": unit.strip()}
    except ValueError as error:
        raise Trouble(f"{text!r} should be a number and its unit, such as '70 degF'.") from error
