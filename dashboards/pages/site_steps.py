"""What to do next about systems on other pages, in the words of the list of all."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.urls import reverse

from .. import words
from ..filters import day_text
from ..next_steps import doubts, next_step, page_of
from ..queries.attention import attention
from ..queries.beside_standing import beside_standings
from ..queries.due import next_visits
from ..values.filters import Filters
from ..values.systems import NeedsALook
from .frame import Frame


@dataclass(frozen=True, slots=True)
class SystemStep:
    """Why a system needs a look, and what to do."""

    code: str
    """Of the worst reason."""
    call: str
    """Under which it was measured; empty where the reason is of no measurement."""
    reasons: tuple[str, ...]
    step: str
    how: str
    href: str


def steps_at(frame: Frame, site_id: UUID) -> dict[UUID, SystemStep]:
    """Return system -> its next step, for those of a site that need a look; seven statements."""
    return _steps(frame, attention(Filters(site=site_id), today=frame.today).systems)


def steps_among(
    frame: Frame, filters: Filters, system_ids: Collection[UUID]
) -> dict[UUID, SystemStep]:
    """Return system -> its next step, for those of a view that need a look; seven statements.

    Of the filters only those that say which systems count, as on the list of all.
    """
    if not system_ids:
        return {}
    needing = attention(
        Filters(customer=filters.customer, site=filters.site, kind=filters.kind),
        today=frame.today,
    ).systems
    return _steps(frame, [one for one in needing if one.system.id in system_ids])


def _steps(frame: Frame, needing: Sequence[NeedsALook]) -> dict[UUID, SystemStep]:
    if not needing:
        return {}
    sites = list({one.system.site_id for one in needing})
    visits = next_visits(sites, today=frame.today)
    beside = beside_standings(needing, today=frame.today)
    units = frame.house.units
    steps = {}
    for one in needing:
        visit = visits.get(one.system.site_id)
        how = page_of(one, beside.get(one.system.id))
        measurement = one.reasons[0].measurement
        steps[one.system.id] = SystemStep(
            code=one.reasons[0].code,
            call=measurement.call if measurement else "",
            reasons=(
                *(words.reason_text(each, units, frame.today) for each in one.reasons),
                *doubts(one, beside.get(one.system.id), units),
            ),
            step=next_step(
                one,
                today=frame.today,
                units=units,
                planned=f"On {day_text(visit.on)}:" if visit else "",
                beside=beside.get(one.system.id),
            ),
            how=how.text,
            href=f"{reverse(how.name, args=[how.id])}{frame.asked.tail}{how.anchor}",
        )
    return steps
