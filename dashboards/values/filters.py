"""What part of the record a page looks at."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Filters:
    """A period, both days included, and what else narrows the view; None is no limit."""

    from_on: datetime.date | None = None
    to_on: datetime.date | None = None
    customer: UUID | None = None
    site: UUID | None = None
    crew: UUID | None = None
    kind: str | None = None
    stage: str = "as_left"
    air_path: str | None = None

    @property
    def names_record(self) -> bool:
        """Whether a customer, a site or a crew is asked for, which may not be on record."""
        return any((self.customer, self.site, self.crew))


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that a filter can be set to."""

    value: str
    label: str
    is_chosen: bool = False


@dataclass(frozen=True, slots=True)
class Choices:
    """What the filters offer to this viewer."""

    customers: tuple[Choice, ...]
    sites: tuple[Choice, ...]
    crews: tuple[Choice, ...]
    cut_lists: frozenset[str]
    """Which lists are too long for a form, `customer` or `site`: the rest of them is left out."""
    small_crew_ids: frozenset[UUID]
    """Crews of fewer than three people in the period, which are not set apart."""
    other_crew_ids: frozenset[UUID]
    """Crews that this viewer may not see set apart, whatever their size."""
    is_empty: bool
    """Whether there is not one system on record yet."""
