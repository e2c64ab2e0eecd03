"""What to do next about the systems of one site, in the words of the list of all."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.urls import reverse

from .. import words
from ..filters import day_text
from ..next_steps import next_step, page_of
from ..queries.attention import attention
from ..queries.beside_standing import beside_standings
from ..queries.due import next_visits
from ..values.filters import Filters
from .frame import Frame


@dataclass(frozen=True, slots=True)
class SystemStep:
    """Why a system needs a look, and what to do."""

    code: str
    """Of the worst reason."""
    reasons: tuple[str, ...]
    step: str
    how: str
    href: str


def steps_at(frame: Frame, site_id: UUID) -> dict[UUID, SystemStep]:
    """Return system -> its next step, for those of a site that need a look; five statements."""
    needing = attention(Filters(site=site_id), today=frame.today).systems
    if not needing:
        return {}
    visit = next_visits([site_id], today=frame.today).get(site_id)
    beside = beside_standings(needing)
    units = frame.house.units
    steps = {}
    for one in needing:
        how = page_of(one, beside.get(one.system.id))
        steps[one.system.id] = SystemStep(
            code=one.reasons[0].code,
            reasons=tuple(words.reason_text(each, units, frame.today) for each in one.reasons),
            step=next_step(
                one,
                today=frame.today,
                units=units,
                planned=f"On {day_text(visit.on)}:" if visit else "",
                beside=beside.get(one.system.id),
            ),
            how=how.text,
            href=f"{reverse(how.name, args=[how.id])}{frame.asked.tail}",
        )
    return steps
