"""How well a section is sited: straight duct before and after it, in hydraulic diameters."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from airflow_jobs.calc.quantities import checked

SitingJudgement = Literal["good", "acceptable", "poor", "unknown"]


@dataclass(frozen=True, slots=True)
class SitingGuidance:
    """Straight duct asked for, in hydraulic diameters, and who asks for it.

    Attributes
    ----------
    upstream_diameters
        From the disturbance before the section to the section.
    downstream_diameters
        From the section to the disturbance after it.
    source
        Author or body, title, clause.
    how_known
        Whether the source could be read or is only remembered.
    """

    upstream_diameters: float
    downstream_diameters: float
    source: str
    how_known: str


PREFERRED_SITING = SitingGuidance(
    8.0,
    2.0,
    "40 CFR 60 Appendix A-1, Method 1, section 11.1.1 (preferred site)",
    "read in the regulation's text",
)
LEAST_SITING = SitingGuidance(
    2.0,
    0.5,
    "40 CFR 60 Appendix A-1, Method 1, sections 1.2 and 11.1.1 (least acceptable site)",
    "read in the regulation's text",
)
# Shown beside the judgement as guidance; nothing is decided by a remembered value.
OTHER_SITING_GUIDANCE = (
    SitingGuidance(
        7.5,
        3.0,
        "ASHRAE 111 and ASHRAE Handbook Fundamentals, preferred traverse plane",
        "from memory",
    ),
    SitingGuidance(20.0, 5.0, "ISO 3966, clause 6.1", "from memory"),
    SitingGuidance(5.0, 2.0, "EN 16211, typical in-duct method", "from memory"),
)


@dataclass(frozen=True, slots=True)
class Siting:
    """Where a section stands between its disturbances.

    Attributes
    ----------
    upstream_diameters, downstream_diameters
        Straight lengths in hydraulic diameters; NaN where unknown.
    judgement
        `good`, `acceptable`, `poor` or `unknown`.
    """

    upstream_diameters: float
    downstream_diameters: float
    judgement: SitingJudgement


def siting(
    *,
    hydraulic_diameter_m: float,
    straight_upstream_m: float | None,
    straight_downstream_m: float | None,
) -> Siting:
    """Judge a section by the straight duct before and after it.

    Parameters
    ----------
    hydraulic_diameter_m
        Inside hydraulic diameter, m, above 0.
    straight_upstream_m, straight_downstream_m
        Straight lengths, m, at least 0; None or NaN where unknown.

    Returns
    -------
    Siting
        `good` where both lengths reach `PREFERRED_SITING`, `poor` where one falls short of
        `LEAST_SITING` (even if the other is unknown), `unknown` where that can't be said,
        otherwise `acceptable`.

    Raises
    ------
    ValueError
        If a length is negative or the diameter not positive.

    Notes
    -----
    Source: 40 CFR 60 Appendix A-1, Method 1, sections 1.2 and 11.1.1.

    Examples
    --------
    >>> siting(hydraulic_diameter_m=0.5, straight_upstream_m=2.5, straight_downstream_m=1.0)
    Siting(upstream_diameters=5.0, downstream_diameters=2.0, judgement='acceptable')
    """
    diameter = float(checked("hydraulic_diameter_m", hydraulic_diameter_m, "m", above=0.0))
    lengths = (
        ("straight_upstream_m", straight_upstream_m),
        ("straight_downstream_m", straight_downstream_m),
    )
    upstream, downstream = (
        float("nan")
        if length is None
        else float(checked(name, length, "m", at_least=0.0)) / diameter
        for name, length in lengths
    )
    short = (
        upstream < LEAST_SITING.upstream_diameters or downstream < LEAST_SITING.downstream_diameters
    )
    preferred = (
        upstream >= PREFERRED_SITING.upstream_diameters
        and downstream >= PREFERRED_SITING.downstream_diameters
    )
    judgement: SitingJudgement
    if short:
        judgement = "poor"
    elif np.isnan(upstream) or np.isnan(downstream):
        judgement = "unknown"
    else:
        judgement = "good" if preferred else "acceptable"
    return Siting(upstream, downstream, judgement)
