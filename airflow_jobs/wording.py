"""How numbers are written inside sentences.

What a result says of a measurement is kept as text, for readers of either unit system and for
software: a quantity stands in both, its SI unit first.
"""

from __future__ import annotations

from typing import Final

from .calc.air import FOOT_M, INCH_OF_MERCURY_PA

# NIST SP 811 (2008), appendix B.8; feet and inches are exact.
INCH_OF_WATER_PA: Final = 249.08891
INCH_M: Final = 0.0254


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


def in_kilopascals(pascals: float) -> str:
    """Return a pressure of the air as `100.3 kPa (29.62 inHg)`."""
    return f"{pascals / 1000:.1f} kPa ({pascals / INCH_OF_MERCURY_PA:.2f} inHg)"


def in_metres(metres: float) -> str:
    """Return an elevation as `1,274 m (4,180 ft)`."""
    return f"{metres:,.0f} m ({metres / FOOT_M:,.0f} ft)".replace("-", "\N{MINUS SIGN}")


def in_millimetres(metres: float) -> str:
    """Return a place of a hole or depth as `250 mm (9.84 in)`."""
    return f"{1000 * metres:.0f} mm ({metres / INCH_M:.2f} in)"


def in_square_metres(square_metres: float) -> str:
    """Return a section's area as `0.2787 m2 (3.00 ft2)`."""
    return f"{square_metres:.4f} m2 ({square_metres / FOOT_M**2:.2f} ft2)"


def in_celsius(celsius: float, digits: int = 0) -> str:
    """Return a temperature as `23 °C (73 °F)`."""
    text = f"{celsius:.{digits}f} °C ({1.8 * celsius + 32.0:.{digits}f} °F)"
    return text.replace("-", "\N{MINUS SIGN}")


def in_metres_per_second(velocity_m_s: float) -> str:
    """Return an offset of a velocity as `+0.10 m/s (+20 ft/min)`."""
    text = f"{velocity_m_s:+.2f} m/s ({60.0 * velocity_m_s / FOOT_M:+.0f} ft/min)"
    return text.replace("-", "\N{MINUS SIGN}")


def in_pascals(pascals: float, half_width: float | None = None) -> str:
    """Return a static pressure, uncertain or not, as `149 ± 5 Pa (0.60 ± 0.02 inH2O)`."""
    inches = f"{pascals / INCH_OF_WATER_PA:.2f}"
    if half_width is None:
        return f"{pascals:.0f} Pa ({inches} inH2O)"
    return (
        f"{pascals:.0f} ± {half_width:.0f} Pa "
        f"({inches} ± {half_width / INCH_OF_WATER_PA:.2f} inH2O)"
    )


def per_kilowatt(flow_per_capacity_m3_s_per_w: float) -> str:
    """Return a flow per capacity as `54 L/s per kW`."""
    return f"{1e6 * flow_per_capacity_m3_s_per_w:,.0f} L/s per kW"
