"""How numbers are written inside sentences."""

from __future__ import annotations


def percent(ratio: float, digits: int = 0, *, signed: bool = False) -> str:
    """Return a ratio as percent, with a space before the sign and a real minus.

    Parameters
    ----------
    ratio
        One is a hundred percent.
    digits
        Decimals.
    signed
        Write a plus before what is above zero.
    """
    text = f"{100.0 * ratio:{'+' if signed else ''}.{digits}f} %"
    return text.replace("-", "\N{MINUS SIGN}")
