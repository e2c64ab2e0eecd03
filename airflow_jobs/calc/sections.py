"""The duct section: inside dimensions, area, perimeter and hydraulic diameter.

Sizes are of the sheet or board, never over an outside wrap. Lining, or the board itself,
takes its thickness off at each of two facing walls.
"""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped

Shape = Literal["rectangular", "round", "flat_oval"]
DrilledSide = Literal["width", "height"]

SHAPES: tuple[Shape, ...] = get_args(Shape)


@dataclass(frozen=True, slots=True)
class InsideSection:
    """The free cross-section that the air sees.

    Attributes
    ----------
    shape
        `rectangular`, `round` or `flat_oval`.
    width_m, height_m
        Inside, m; for a flat oval width >= height; both the diameter for a round section.
    wall_m
        Lining or board at each wall, m: from the inside face to where a tape is hooked.
    """

    shape: Shape
    width_m: float
    height_m: float
    wall_m: float = 0.0

    @property
    def diameter_m(self) -> float:
        """Inside diameter of a round section, m; NaN for the other shapes."""
        return self.width_m if self.shape == "round" else float("nan")

    @property
    def area_m2(self) -> float:
        """Inside area, m2."""
        return float(area_m2(self.shape, width_m=self.width_m, height_m=self.height_m))

    @property
    def perimeter_m(self) -> float:
        """Inside perimeter, m."""
        return float(perimeter_m(self.shape, width_m=self.width_m, height_m=self.height_m))

    @property
    def hydraulic_diameter_m(self) -> float:
        """Four times the inside area over the inside perimeter, m."""
        return float(hydraulic_diameter_m(area_m2=self.area_m2, perimeter_m=self.perimeter_m))

    def extents_m(self, drilled_side: DrilledSide) -> tuple[float, float]:
        """Return the inside extents along the drilled side and along the insertion depth, m.

        Parameters
        ----------
        drilled_side
            The side along which the holes are spaced, `width` or `height`.

        Returns
        -------
        (along the drilled side, along the depth), m; a round section gives its diameter twice.
        """
        if drilled_side not in get_args(DrilledSide):
            raise ValueError(f"drilled_side is {drilled_side!r}; it must be 'width' or 'height'")
        if drilled_side == "width":
            return self.width_m, self.height_m
        return self.height_m, self.width_m


def inside_dimension_m(
    *, outside_m: npt.ArrayLike, lining_thickness_m: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return an inside dimension: the outside one less the lining at each of two walls.

    Parameters
    ----------
    outside_m
        Scalar or array, outside of sheet or board, m, above 0.
    lining_thickness_m
        Scalar or array, thickness at each wall, m, at least 0.

    Returns
    -------
    Broadcast shape, m.

    Raises
    ------
    ValueError
        If a dimension is impossible or the lining fills the duct.

    Notes
    -----
    Source: common practice (geometry).

    Examples
    --------
    >>> round(float(inside_dimension_m(outside_m=0.4572, lining_thickness_m=0.0254)), 4)
    0.4064
    """
    outside = checked("outside_m", outside_m, "m", above=0.0)
    lining = checked("lining_thickness_m", lining_thickness_m, "m", at_least=0.0)
    inside = outside - 2.0 * lining
    if np.any(inside <= 0.0):
        where = inside <= 0.0
        thick = np.broadcast_to(lining, inside.shape)[where].flat[0]
        wide = np.broadcast_to(outside, inside.shape)[where].flat[0]
        raise ValueError(
            f"lining_thickness_m is {thick:g} m at each wall; it must be below half of the "
            f"outside dimension, {wide / 2:g} m"
        )
    return unwrapped(inside)


def inside_section(
    shape: Shape,
    *,
    outside_width_m: float | None = None,
    outside_height_m: float | None = None,
    outside_diameter_m: float | None = None,
    lining_thickness_m: float = 0.0,
) -> InsideSection:
    """Return the free cross-section of a duct known by its outside sizes.

    Parameters
    ----------
    shape
        `rectangular`, `round` or `flat_oval`.
    outside_width_m, outside_height_m
        For rectangular and flat oval, m, above 0; a flat oval has width >= height.
    outside_diameter_m
        For round, m, above 0.
    lining_thickness_m
        At each wall, m, at least 0.

    Returns
    -------
    InsideSection

    Raises
    ------
    ValueError
        If a size that the shape needs is missing or impossible.

    Notes
    -----
    Source: common practice (geometry).

    Examples
    --------
    >>> lined = inside_section("rectangular", outside_width_m=0.4572, outside_height_m=0.6096,
    ...                        lining_thickness_m=0.0254)
    >>> round(lined.area_m2 / 0.3048**2, 3)
    2.444
    """
    if shape == "round":
        if outside_diameter_m is None:
            raise ValueError("outside_diameter_m is missing; a round section needs it")
        width = height = float(
            inside_dimension_m(outside_m=outside_diameter_m, lining_thickness_m=lining_thickness_m)
        )
    else:
        if outside_width_m is None or outside_height_m is None:
            missing = "outside_width_m" if outside_width_m is None else "outside_height_m"
            raise ValueError(f"{missing} is missing; a {shape} section needs width and height")
        width = float(
            inside_dimension_m(outside_m=outside_width_m, lining_thickness_m=lining_thickness_m)
        )
        height = float(
            inside_dimension_m(outside_m=outside_height_m, lining_thickness_m=lining_thickness_m)
        )
    area_m2(shape, width_m=width, height_m=height)
    return InsideSection(shape, width, height, float(lining_thickness_m))


def area_m2(shape: Shape, *, width_m: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
    """Return the area of a section from its inside sizes.

    Parameters
    ----------
    shape
        `rectangular`, `round` or `flat_oval`.
    width_m, height_m
        Scalars or arrays, m, above 0; for round both are the diameter; for flat oval the
        width is at least the height and the ends are semicircles.

    Returns
    -------
    Broadcast shape, m2.

    Raises
    ------
    ValueError
        If a size is impossible for the shape.

    Notes
    -----
    Flat oval: A = pi h^2/4 + h (w - h), Heyt and Diaz, ASHRAE Transactions 81 (1975).

    Examples
    --------
    >>> round(float(area_m2("rectangular", width_m=0.4572, height_m=0.6096)), 5)
    0.27871
    """
    width, height = _checked_sizes(shape, width_m, height_m)
    if shape == "rectangular":
        return unwrapped(width * height)
    return unwrapped(0.25 * np.pi * height**2 + height * (width - height))


def perimeter_m(shape: Shape, *, width_m: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
    """Return the perimeter of a section from its inside sizes.

    Parameters
    ----------
    shape
        `rectangular`, `round` or `flat_oval`.
    width_m, height_m
        As for `area_m2`.

    Returns
    -------
    Broadcast shape, m.

    Raises
    ------
    ValueError
        If a size is impossible for the shape.

    Notes
    -----
    Flat oval: P = pi h + 2 (w - h), Heyt and Diaz, ASHRAE Transactions 81 (1975).

    Examples
    --------
    >>> float(perimeter_m("rectangular", width_m=0.5, height_m=0.25))
    1.5
    """
    width, height = _checked_sizes(shape, width_m, height_m)
    if shape == "rectangular":
        return unwrapped(2.0 * (width + height))
    return unwrapped(np.pi * height + 2.0 * (width - height))


def hydraulic_diameter_m(*, area_m2: npt.ArrayLike, perimeter_m: npt.ArrayLike) -> FloatArray:
    """Return the hydraulic diameter, four times the area over the perimeter.

    Parameters
    ----------
    area_m2
        Scalar or array, m2, above 0.
    perimeter_m
        Scalar or array, m, above 0.

    Returns
    -------
    Broadcast shape, m.

    Raises
    ------
    ValueError
        If an argument is not positive.

    Notes
    -----
    For a rectangle it is 2LW/(L + W), the "equivalent diameter" of 40 CFR 60 Appendix A-1,
    Method 1, Eq. 1-1. Other equivalent diameters (equal friction) differ by a fifth on a
    2:1 duct and are not used for straight lengths here.

    Examples
    --------
    >>> round(float(hydraulic_diameter_m(area_m2=0.18, perimeter_m=1.8)), 12)
    0.4
    """
    area = checked("area_m2", area_m2, "m2", above=0.0)
    perimeter = checked("perimeter_m", perimeter_m, "m", above=0.0)
    return unwrapped(4.0 * area / perimeter)


def _checked_sizes(
    shape: Shape, width_m: npt.ArrayLike, height_m: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    if shape not in SHAPES:
        raise ValueError(f"shape is {shape!r}; it must be one of {', '.join(SHAPES)}")
    width = checked("width_m", width_m, "m", above=0.0)
    height = checked("height_m", height_m, "m", above=0.0)
    if shape == "flat_oval" and np.any(width < height):
        where = width < height
        narrow = np.broadcast_to(width, where.shape)[where].flat[0]
        raise ValueError(
            f"width_m is {narrow:g} m; in a flat oval it must be at least the height, "
            f"{np.broadcast_to(height, where.shape)[where].flat[0]:g} m"
        )
    if shape == "round" and np.any(width != height):
        raise ValueError("width_m and height_m differ; in a round section both are the diameter")
    return width, height
