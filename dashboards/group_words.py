"""The sentences about crews and sites held against each other, and about those that can't be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from airflow_jobs.models import Stage

from .display import write
from .statistics.comparisons import FEWEST_JOBS
from .values.crews import CrewShare, Funnel, Visits
from .values.shares import NamedShare, Share
from .words import (
    FEWEST_FOR_PERCENT,
    count_of,
    listed,
    listed_first,
    portion_text,
    share_text,
)

_SHORT: Final = "chance and site mix explain"


def explained_by(nouns: str) -> str:
    """Return what a comparison of crews or of sites allows for."""
    return "chance and the mix of sites explain" if nouns == "crews" else "chance explains"


def named_sentence(named: Sequence[NamedShare], *, stage: str, whole: Share, nouns: str) -> str:
    """Say what the chart of crews or sites shows, and what it does not."""
    counted = [one for one in named if one.at(stage).total]
    if not counted or whole.share is None:
        return f"None of the {nouns} has a judged job here."
    held = held_sentence(counted, stage=stage, nouns=nouns, explained=explained_by(nouns))
    return f"The dashed line is the whole, {share_text(whole)}. {held}"


def held_sentence(counted: Sequence[NamedShare], *, stage: str, nouns: str, explained: str) -> str:
    """Say who differs, or how many could be compared: what can't be compared is no all-clear."""
    if len(counted) == 1:
        return _alone(counted[0], stage, nouns, explained)
    differing = [one for one in counted if _differs(one, stage)]
    comparable = [one for one in counted if _is_comparable(one, stage)]
    if not comparable:
        return (
            f"None of the {len(counted):,} {nouns} has jobs enough to be compared: it takes "
            f"{FEWEST_JOBS}, and as many of the others."
        )
    left_out = len(counted) - len(comparable)
    few = ""
    if left_out:
        few = (
            f" {left_out:,} {'has' if left_out == 1 else 'have'} too few jobs to be compared; it "
            f"takes {FEWEST_JOBS}."
        )
    if differing:
        return f"{_differ(differing, stage, explained)}{few}"
    if len(comparable) == 1:
        return (
            f"No evidence that {comparable[0].name} differs by more than {explained}; no other of "
            f"the {nouns} has jobs enough to be compared, which takes {FEWEST_JOBS}."
        )
    which = nouns if not left_out else f"{nouns} that can be compared"
    return f"None of the {len(comparable):,} {which} differs more than {explained}.{few}"


def _alone(one: NamedShare, stage: str, nouns: str, explained: str) -> str:
    if _differs(one, stage):
        return _differ([one], stage, explained)
    if _is_comparable(one, stage):
        return (
            f"No evidence that {one.name} differs from the other {nouns} by more than {explained}."
        )
    if one.at(stage).total < FEWEST_JOBS:
        return (
            f"{one.name} has too few jobs to be compared: {one.at(stage).total:,} of the "
            f"{FEWEST_JOBS} that it takes."
        )
    return f"{one.name} is not compared: there are too few jobs of other {nouns} here."


def _differ(differing: Sequence[NamedShare], stage: str, explained: str) -> str:
    """Say who left, or found, more outside than the others would have, and who less."""
    verb = "left" if stage == Stage.AS_LEFT else "found"
    sides = (
        ("more", [one.name for one in differing if _is_worse(one, stage)]),
        ("less", [one.name for one in differing if not _is_worse(one, stage)]),
    )
    said = [f"{listed_first(names)} {verb} {side} outside" for side, names in sides if names]
    return f"{listed(said)} than {explained}."


def _is_worse(one: NamedShare, stage: str) -> bool:
    compared = one.compared_at(stage)
    return compared is not None and one.at(stage).outside > compared.expected_outside


def _differs(one: NamedShare, stage: str) -> bool:
    compared = one.compared_at(stage)
    return compared is not None and compared.differs


def _is_comparable(one: NamedShare, stage: str) -> bool:
    compared = one.compared_at(stage)
    return compared is not None and compared.is_comparable


def compared_text(one: NamedShare, *, stage: str, nouns: str) -> str:
    """Say what the comparison with the others found."""
    if _differs(one, stage):
        side = "More" if _is_worse(one, stage) else "Less"
        return f"{side} outside than {explained_by(nouns)}"
    if _is_comparable(one, stage):
        return "No evidence of a difference"
    if one.at(stage).total < FEWEST_JOBS:
        return "Too few jobs to compare"
    return f"Too few jobs of other {nouns} to compare with"


def crew_sentence(one: NamedShare, *, subject: str = "This crew") -> str:
    """Say in plain words how what a crew left compares with the company.

    Where the crew isn't named beside it, its name is the `subject`.
    """
    compared, left = one.left_compared, one.left
    if compared is None or not left.total:
        return "Nothing was measured and judged as left."
    if compared.differs:
        side = "more" if _is_worse(one, Stage.AS_LEFT) else "less"
        return (
            f"{subject} left {side} outside than {_SHORT}: {left.outside:,}, where the others "
            f"would have left {write(compared.expected_outside, 1)} at the same sites."
        )
    if compared.is_comparable:
        return "No evidence that this differs from the company."
    if left.total < FEWEST_JOBS:
        return f"Too few jobs to compare: {left.total:,} of the {FEWEST_JOBS} that it takes."
    return "There are too few jobs of other crews to compare with."


def funnel_sentence(named: Sequence[NamedShare], funnel: Funnel | None, *, whole: Share) -> str:
    """Say what the funnel of the crews shows."""
    if not whole.total:
        return "Nothing was measured and judged as left in this view."
    counted = [one for one in named if one.left.total]
    if funnel is None and not any(_is_comparable(one, Stage.AS_LEFT) for one in counted):
        return (
            f"{portion_text(whole.inside, whole.total)} of all crews "
            f"{_were(whole.inside, whole.total)} left in range. It takes two crews with "
            f"{FEWEST_JOBS} jobs or more to compare any."
        )
    if not counted:
        return "No crew that is shown here has a job judged as left."
    return held_sentence(counted, stage=Stage.AS_LEFT, nouns="crews", explained=_SHORT)


def funnel_reading(funnel: Funnel) -> str:
    """Say how to read the funnel of the crews."""
    return (
        "Few jobs scatter widely by chance alone: one crew in twenty lies outside the band. "
        f"Outside the dotted limits lies any of the {funnel.compared} crews compared in one "
        "period of twenty. The marks allow for the mix of sites too, so that a crew may lie "
        "outside the limits unmarked."
    )


def difficulty_sentence(found: Share, only: CrewShare | None = None) -> str:
    """Say what the shares found in range mean: of one crew beside the company, or of all."""
    if not found.total:
        return "Nothing was measured and judged as found in this view."
    means = (
        "What a crew finds says how hard its work is, not how well it does it; it is never mixed "
        "with what the crew left."
    )
    if only is None:
        return (
            f"{portion_text(found.outside, found.total)} {_were(found.outside, found.total)} found "
            f"out of range. {means}"
        )
    company = portion_text(found.outside, found.total)
    own = only.named.found
    if not own.total:
        return (
            f"Nothing that {only.name} measured was judged as found; in the company {company} "
            f"{_were(found.outside, found.total)} found out of range. {means}"
        )
    return (
        f"{portion_text(own.outside, own.total)} of {only.name} {_were(own.outside, own.total)} "
        f"found out of range, in the company {company} "
        f"{_were(found.outside, found.total)}. {means}"
    )


def _were(number: int, total: int) -> str:
    return "was" if number == 1 and total < FEWEST_FOR_PERCENT else "were"


def visits_sentence(visits: Visits, *, who: str = "") -> str:
    """Say how many visits are in no share, and of whom if not of all crews."""
    whose = f"{who}: " if who else ""
    if not visits.total:
        return f"{whose}{'no' if who else 'No'} visit was begun in this view."
    return (
        f"{whose}{count_of(visits.total, 'visit')} begun: nothing was measured in "
        f"{visits.unmeasured:,}, and nothing of what was measured could be judged in "
        f"{visits.unjudged:,}."
    )
