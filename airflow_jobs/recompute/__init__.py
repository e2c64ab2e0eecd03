"""The one bridge from rows through `calc` to results; safe to run twice, works on arrays.

`worklist` says what is to be done and does it, `inputs` turns rows into numbers with what had
to be assumed, `targets` finds what a flow is held against, `evaluate` runs `calc` on arrays,
`values` writes down what came out, `plausibility` says what is worth saying, `flow_sets` adds
sections up to a system, `measurements` makes anew what the database keeps for the pages.
"""

from .evaluate import outcomes_as_if, preview
from .measurements import measure_anew
from .outcomes import ENGINE
from .worklist import drain, mark_affected_by, mark_pending, sweep

__all__ = [
    "ENGINE",
    "drain",
    "mark_affected_by",
    "mark_pending",
    "measure_anew",
    "outcomes_as_if",
    "preview",
    "sweep",
]
