"""The shares of the fleet as whoever looks may see them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final
from uuid import UUID

from ..filters import Asked
from ..queries.shares import fleet_shares
from ..values.filters import Choices
from ..values.shares import FleetShares, NamedShare, Share
from .filtering import offered_choices
from .frame import Frame

# The whole is nobody in particular.
_NO_ID: Final = UUID(int=0)


@dataclass(frozen=True, slots=True)
class View:
    """The shares as this viewer may see them."""

    asked: Asked
    choices: Choices
    shares: FleetShares
    everybody: FleetShares
    """The same without a crew chosen: a crew can only be compared with others."""
    crews: tuple[NamedShare, ...]
    sites: tuple[NamedShare, ...]
    company: NamedShare | None
    """The whole, beside a technician's own crew or one that is chosen."""
    hidden_crews: int

    @property
    def stage(self) -> str:
        """The stage that headline, crews and sites speak of."""
        return self.asked.filters.stage

    @property
    def whole(self) -> Share:
        """The share of that stage over everything in the view."""
        return self.shares.left if self.stage == "as_left" else self.shares.found

    @property
    def whole_of_crews(self) -> Share:
        """The same whichever crew is chosen."""
        return self.everybody.left if self.stage == "as_left" else self.everybody.found


def view_of(frame: Frame) -> View:
    """Return what is asked for, without what this viewer may not see set apart."""
    offered = offered_choices(frame)
    asked = frame.asked
    shares = fleet_shares(asked.filters)
    chosen = asked.filters.crew
    everybody = shares
    if chosen is not None:
        everybody = fleet_shares(replace(asked.filters, crew=None))
    in_view = [one for one in everybody.by_crew if chosen is None or one.id == chosen]
    may_show = [one for one in in_view if one.id not in offered.small_crew_ids]
    crews = [one for one in may_show if frame.viewer.sees_crew(one.id)]
    company = None
    if chosen is not None or not frame.viewer.is_manager:
        company = NamedShare(_NO_ID, "The company", found=everybody.found, left=everybody.left)
    return View(
        asked=asked,
        choices=offered,
        shares=shares,
        everybody=everybody,
        crews=_worst_first(crews, asked.filters.stage),
        sites=_worst_first(list(shares.by_site), asked.filters.stage),
        company=company,
        hidden_crews=len(in_view) - len(may_show) if frame.viewer.is_manager else 0,
    )


def _worst_first(named: list[NamedShare], stage: str) -> tuple[NamedShare, ...]:
    """Order by the upper end of the interval: who surely leaves most outside comes first."""
    kept = [one for one in named if one.at(stage).total]
    return tuple(sorted(kept, key=lambda one: (one.at(stage).high_end, one.name, one.id)))
