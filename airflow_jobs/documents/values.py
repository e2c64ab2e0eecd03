"""What a visit's report says, in words and in the company's units: page, paper and link alike."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from uuid import UUID

from airflow_jobs.display import Shown
from airflow_jobs.judged_strip import JudgedStrip


@dataclass(frozen=True, slots=True)
class Fact:
    """One named thing about a stage, such as the meter."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class FactRow:
    """One named thing before and after; empty where it is not known."""

    name: str
    before: str
    after: str

    @property
    def is_same(self) -> bool:
        """Whether one text says both."""
        return self.before == self.after

    @property
    def either(self) -> str:
        """The one text where only one of the two was measured."""
        return self.before or self.after


@dataclass(frozen=True, slots=True)
class MeterInDoubt:
    """A meter that a later calibration found off; what it measured here is not corrected."""

    instrument_id: UUID
    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Standing:
    """What a system moved at one stage of the visit under one call."""

    stage: str
    """`as_found` or `as_left`."""
    taken_at: str
    """Time of day where the system stands."""
    traverse_id: UUID | None
    notice: str
    """What is to be known of the whole number: being computed, could not be computed."""
    shown: Shown | None
    """The best estimate with its interval."""
    strip: JudgedStrip | None
    verdict: str
    verdict_text: str
    how: str
    """The verdict as it follows `was found` and `was left`; empty where it was not judged."""
    between: str
    remarks: tuple[str, ...]
    """What weakens the number or was done to it: in doubt, indicative, not judged, corrected."""
    facts: tuple[Fact, ...]
    findings: tuple[str, ...]
    """What of the findings matters to a customer."""
    result: str
    """Short digest of the result's inputs; empty without a result."""
    engine: str
    in_doubt: tuple[MeterInDoubt, ...] = ()
    """Meters that a later calibration found off; their texts come first among the remarks."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Before and after of one system under one call."""

    call: str
    """The call in words, such as `Cooling`."""
    summary: str
    before: Standing | None
    after: Standing | None
    missing_before: str
    missing_after: str
    """What to say where one of the two was not measured."""
    rows: tuple[FactRow, ...]
    """What the numbers rest on; of a system's first call also what was measured beside them."""
    others: tuple[str, ...]
    """Further measurements, each in a line."""

    @property
    def has_both(self) -> bool:
        """Whether the rows say anything of before and of after."""
        return any(row.before for row in self.rows) and any(row.after for row in self.rows)


@dataclass(frozen=True, slots=True)
class SystemReport:
    """One system on the visit."""

    equipment_id: UUID
    tag: str
    about: str
    pairs: tuple[Pair, ...]
    done: tuple[str, ...]
    """What was changed, in order."""
    beside: tuple[FactRow, ...]
    """Where the airflow was not measured: pressures, temperature rises, flows by other means."""
    findings: tuple[str, ...]
    caution: str

    @property
    def traverse_ids(self) -> tuple[UUID, ...]:
        """The traverses whose numbers stand large."""
        standings = [one for pair in self.pairs for one in (pair.before, pair.after)]
        return tuple(one.traverse_id for one in standings if one and one.traverse_id)


@dataclass(frozen=True, slots=True)
class VisitReport:
    """One visit as its customer reads it."""

    visit_id: UUID
    company: str
    mark: str
    """The company's report mark: what is to stand under its name."""
    units: str
    """`si` or `ip`; says on which paper it is printed too."""
    customer: str
    site: str
    address: str
    day: datetime.date | None
    """Where the site is; none where nothing says when."""
    day_text: str
    purpose: str
    crew_id: UUID
    crew: str
    systems: tuple[SystemReport, ...]
    closing: tuple[str, ...]
    notes: str
    """The note of the closing: the one note that is meant for the customer."""
    how_to_read: str
    precedence: str
    reference: tuple[str, ...]

    @property
    def in_doubt(self) -> dict[MeterInDoubt, tuple[str, ...]]:
        """The meters that were found off later, each with the systems whose numbers rest on it."""
        found: dict[MeterInDoubt, dict[str, None]] = {}
        for system in self.systems:
            for pair in system.pairs:
                for standing in (pair.before, pair.after):
                    for meter in standing.in_doubt if standing else ():
                        found.setdefault(meter, {})[system.tag] = None
        return {meter: tuple(tags) for meter, tags in found.items()}

    @property
    def title(self) -> str:
        """What the document is called."""
        return f"Airflow report, {self.site}, {self.day_text}"

    @property
    def summaries(self) -> tuple[str, ...]:
        """One sentence a system and call."""
        return tuple(pair.summary for system in self.systems for pair in system.pairs)
