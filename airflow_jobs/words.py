"""The words for verdicts, stages, calls and targets: pages and documents say the same."""

from __future__ import annotations

from typing import Final

from .calc.conformity import DECIDING_PROBABILITY
from .cautions import LOCAL_RULES_FIRST
from .display import percent
from .models import Basis, Call, EquipmentKind, FanDrive, Stage, TargetSource, Verdict

STAGES: Final = {str(stage): label for stage, label in Stage.choices}
CALLS: Final = {str(call): label for call, label in Call.choices} | {
    str(Call.UNKNOWN): "Call not on record"
}
KINDS: Final = {str(kind): label for kind, label in EquipmentKind.choices}
FAN_DRIVES: Final = {
    str(drive): label for drive, label in FanDrive.choices if drive != FanDrive.UNKNOWN
}
BASES: Final = {str(basis): label for basis, label in Basis.choices}
SOURCES: Final[dict[str, str]] = {
    TargetSource.MAKER: "the maker's",
    TargetSource.DESIGN: "the design's",
    TargetSource.CODE: "the code's",
    TargetSource.COMPANY: "the company's",
}
METHODS: Final = {
    "electric_heat": "Electric heat and temperature rise",
    "fuel_heat": "Fuel heat and temperature rise",
    "static_pressure": "Total external static pressure",
    "capture_hood": "Capture hood",
    "flow_grid": "Flow grid",
    "maker_table": "Maker's table",
    "historical": "Earlier value",
}
"""Other ways to a flow."""
ADVICE_LINE: Final = LOCAL_RULES_FIRST


def misread_text(change: float) -> str:
    """Say on which side a meter read: what must be added to it is what it read low by."""
    return f"{percent(abs(change), 1)} {'low' if change > 0 else 'high'}"


def hangs_on_basis(verdict: str, probability: float | None) -> bool:
    """Whether an undecided verdict hangs on what air the target means: standard or actual.

    A side so likely decides, but where the two bases of the target disagree about it.
    """
    return (
        verdict == Verdict.UNDECIDED
        and probability is not None
        and probability >= DECIDING_PROBABILITY
    )


def verdict_text(verdict: str, leaning: str, probability: float | None) -> str:
    """Return a verdict in words; `probability` is that of the side it leans to."""
    if verdict == Verdict.UNDECIDED:
        side = _side_text(leaning)
        sure = f" ({percent(probability)})" if probability is not None else ""
        if hangs_on_basis(verdict, probability):
            return f"The target's basis decides; as it stands {side}{sure}"
        return f"Too close to call, probably {side}{sure}"
    return (
        {
            Verdict.LOW: "Low",
            Verdict.HIGH: "High",
            Verdict.IN_RANGE: "In range",
            Verdict.NOT_JUDGED: "Not judged",
        }.get(Verdict(verdict), "")
        if verdict
        else ""
    )


def verdict_in_sentence(verdict: str, leaning: str, probability: float | None) -> str:
    """Return a verdict as it follows `was found` and `was left`; empty where there is none."""
    if verdict == Verdict.UNDECIDED:
        side = _side_text(leaning)
        if hangs_on_basis(verdict, probability):
            return f"{side} as the target stands (its basis decides)"
        return f"probably {side} (too close to call)"
    if verdict in ("", Verdict.NOT_JUDGED):
        return ""
    return verdict_text(verdict, leaning, probability).lower()


def _side_text(leaning: str) -> str:
    return {"low": "low", "high": "high"}.get(leaning, "in range")
