"""Cautions shown where work is about to be done; common practice of the trade."""

from __future__ import annotations

from typing import Final

LOCAL_RULES_FIRST: Final = (
    "Local code, the maker's instructions and the licensed professional on site come before "
    "this advice."
)

BEFORE_DRILLING: Final[tuple[str, ...]] = (
    "Fan and heat off before drilling.",
    "Look behind the sheet and inside first: gas piping, wiring, refrigerant lines, coils, drain "
    "pans, heat strips, flues, dampers, fire and smoke barriers.",
    "Never pull, bend or lean on gas pipe. If it is touched or nicked: stop, no switches or "
    "flames, leave, and call the gas supplier from outside.",
    "Old duct wrap may hold asbestos: don't disturb it.",
    "Eye and hand protection, with fibrous liner breathing protection; a stop on the bit; no "
    "chips into motor or coil.",
    "Keep to the rules for ladders, attic heat and roof edges.",
    "Never drill a flue or a fire-rated duct. No probe near live heat strips or moving parts.",
)
