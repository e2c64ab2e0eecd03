"""The sentences about crews and sites held against each other, and about those that can't be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from airflow_jobs.models import Stage

from .display import percent, write
from .statistics.comparisons import FEWEST_JOBS
from .values.crews import CrewShare, Funnel, Visits
from .values.shares import NamedShare, Share
from .words import count_of, listed_first, share_text

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
    differing = [one.name for one in counted if _differs(one, stage)]
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
        verb = "differs" if len(differing) == 1 else "differ"
        return f"{listed_first(differing)} {verb} more than {explained}.{few}"
    if len(comparable) == 1:
        return (
            f"No evidence that {comparable[0].name} differs by more than {explained}; no other of "
            f"the {nouns} has jobs enough to be compared, which takes {FEWEST_JOBS}."
        )
    which = nouns if not left_out else f"{nouns} that can be compared"
    return f"None of the {len(comparable):,} {which} differs more than {explained}.{few}"


def _alone(one: NamedShare, stage: str, nouns: str, explained: str) -> str:
    if _differs(one, stage):
        return f"{one.name} differs more than {explained}."
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


def _differs(one: NamedShare, stage: str) -> bool:
    compared = one.compared_at(stage)
    return compared is not None and compared.differs


def _is_comparable(one: NamedShare, stage: str) -> bool:
    compared = one.compared_at(stage)
    return compared is not None and compared.is_comparable


def compared_text(one: NamedShare, *, stage: str, nouns: str) -> str:
    """Say what the comparison with the others found."""
    if _differs(one, stage):
        return f"Differs more than {explained_by(nouns)}"
    if _is_comparable(one, stage):
        return "No evidence of a difference"
    if one.at(stage).total < FEWEST_JOBS:
        return "Too few jobs to compare"
    return f"Too few jobs of other {nouns} to compare with"


def crew_sentence(one: NamedShare, *, subject: str = "This") -> str:
    """Say in plain words how what a crew left compares with the company.

    Where the crew isn't named beside it, its name is the `subject`.
    """
    compared, left = one.left_compared, one.left
    if compared is None or not left.total:
        return "Nothing was measured and judged as left."
    if compared.differs:
        side = "More" if left.outside > compared.expected_outside else "Fewer"
        return (
            f"{subject} differs more than {_SHORT}. "
            f"{side} outside than expected: {left.outside:,}, where the others would have left "
            f"{write(compared.expected_outside, 0)} at the same sites."
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
            f"{percent(whole.share)} of {count_of(whole.total, 'job')} of all crews were left in "
            f"range. It takes two crews with {FEWEST_JOBS} jobs or more to compare any."
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
            f"{percent(found.outside / found.total)} of {count_of(found.total, 'job')} were found "
            f"out of range. {means}"
        )
    company = f"{percent(found.outside / found.total)} of {found.total:,}"
    own = only.named.found
    if not own.total:
        return (
            f"Nothing that {only.name} measured was judged as found; in the company {company} jobs "
            f"were found out of range. {means}"
        )
    return (
        f"{percent(own.outside / own.total)} of {count_of(own.total, 'job')} of {only.name} were "
        f"found out of range, in the company {company}. {means}"
    )


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
