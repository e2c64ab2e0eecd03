"""The rows that tests of the API start from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from airflow_jobs.models import Crew, DuctSection, Equipment, Instrument, Site, Visit
from tests import factories


@dataclass(frozen=True)
class World:
    """One system with everything needed to measure it."""

    site: Site
    equipment: Equipment
    section: DuctSection
    instrument: Instrument
    visit: Visit

    def content(self, **fields: Any) -> dict[str, Any]:
        """Return the body of a good traverse of this system."""
        content = factories.traverse_content(
            visit=self.visit, duct_section=self.section, instrument=self.instrument
        )
        return {key: item for key, item in (content | fields).items() if item is not None}


def make_world(crew: Crew | None = None) -> World:
    """Make one system and a visit of a crew to it."""
    site = factories.make_site()
    equipment = factories.make_equipment(site=site)
    return World(
        site=site,
        equipment=equipment,
        section=factories.make_section(equipment=equipment),
        instrument=factories.make_instrument(),
        visit=factories.make_visit(site=site, crew=crew),
    )
