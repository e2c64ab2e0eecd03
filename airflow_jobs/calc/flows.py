"""Flows: volume, standard, mass, and per capacity."""

import numpy.typing as npt

from airflow_jobs.calc.air import STANDARD_AIR_DENSITY_KG_M3
from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped


def volume_flow_m3_s(*, mean_velocity_m_s: npt.ArrayLike, area_m2: npt.ArrayLike) -> FloatArray:
    """Return the actual volume flow through an area.

    Parameters
    ----------
    mean_velocity_m_s
        Scalar or array, m/s; negative for a net backflow.
    area_m2
        Scalar or array, inside area, m2, above 0.

    Returns
    -------
    Broadcast shape, m3/s.

    Raises
    ------
    ValueError
        If the area isn't positive.

    Notes
    -----
    Source: definition; ISO 3966.

    Examples
    --------
    >>> float(volume_flow_m3_s(mean_velocity_m_s=4.0, area_m2=0.25))
    1.0
    """
    velocity = checked("mean_velocity_m_s", mean_velocity_m_s, "m/s")
    return unwrapped(velocity * checked("area_m2", area_m2, "m2", above=0.0))


def mass_flow_kg_s(*, volume_flow_m3_s: npt.ArrayLike, density_kg_m3: npt.ArrayLike) -> FloatArray:
    """Return the mass flow of a volume flow at its density.

    Parameters
    ----------
    volume_flow_m3_s
        Scalar or array, actual, m3/s.
    density_kg_m3
        Scalar or array, in the section, kg/m3, above 0.

    Returns
    -------
    Broadcast shape, kg/s.

    Raises
    ------
    ValueError
        If the density isn't positive.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> float(mass_flow_kg_s(volume_flow_m3_s=0.5, density_kg_m3=1.2))
    0.6
    """
    flow = checked("volume_flow_m3_s", volume_flow_m3_s, "m3/s")
    return unwrapped(flow * checked("density_kg_m3", density_kg_m3, "kg/m3", above=0.0))


def standard_flow_m3_s(
    *,
    volume_flow_m3_s: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    standard_density_kg_m3: npt.ArrayLike = STANDARD_AIR_DENSITY_KG_M3,
) -> FloatArray:
    """Return the volume that the same mass flow would have in standard air.

    Parameters
    ----------
    volume_flow_m3_s
        Scalar or array, actual, m3/s.
    density_kg_m3
        Scalar or array, in the section, kg/m3, above 0.
    standard_density_kg_m3
        Scalar or array, what the company calls standard, kg/m3, above 0.

    Returns
    -------
    Broadcast shape, m3/s.

    Raises
    ------
    ValueError
        If a density isn't positive.

    Notes
    -----
    Source: definition of standard air, AMCA 210.

    Examples
    --------
    >>> round(float(standard_flow_m3_s(volume_flow_m3_s=1.0, density_kg_m3=1.0)), 4)
    0.8324
    """
    standard = checked("standard_density_kg_m3", standard_density_kg_m3, "kg/m3", above=0.0)
    return unwrapped(
        mass_flow_kg_s(volume_flow_m3_s=volume_flow_m3_s, density_kg_m3=density_kg_m3) / standard
    )


def actual_flow_m3_s(
    *,
    standard_flow_m3_s: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    standard_density_kg_m3: npt.ArrayLike = STANDARD_AIR_DENSITY_KG_M3,
) -> FloatArray:
    """Return the actual volume flow behind a standard flow.

    Parameters
    ----------
    standard_flow_m3_s
        Scalar or array, m3/s of standard air.
    density_kg_m3, standard_density_kg_m3
        As for `standard_flow_m3_s`.

    Returns
    -------
    Broadcast shape, m3/s.

    Raises
    ------
    ValueError
        If a density isn't positive.

    Notes
    -----
    Source: the inverse of `standard_flow_m3_s`.

    Examples
    --------
    >>> round(float(actual_flow_m3_s(standard_flow_m3_s=0.8324, density_kg_m3=1.0)), 3)
    1.0
    """
    density = checked("density_kg_m3", density_kg_m3, "kg/m3", above=0.0)
    mass = mass_flow_kg_s(volume_flow_m3_s=standard_flow_m3_s, density_kg_m3=standard_density_kg_m3)
    return unwrapped(mass / density)


def flow_per_capacity_m3_s_w(
    *, volume_flow_m3_s: npt.ArrayLike, capacity_w: npt.ArrayLike
) -> FloatArray:
    """Return a flow for each watt of cooling capacity.

    Parameters
    ----------
    volume_flow_m3_s
        Scalar or array, on the target's basis (standard or actual), m3/s.
    capacity_w
        Scalar or array, rated capacity if known, otherwise nominal, W, above 0.

    Returns
    -------
    Broadcast shape, m3/s per W.

    Raises
    ------
    ValueError
        If the capacity isn't positive.

    Notes
    -----
    Source: common practice; a ton of refrigeration is 12,000 Btu/h.

    Examples
    --------
    >>> float(flow_per_capacity_m3_s_w(volume_flow_m3_s=0.5, capacity_w=10000.0))
    5e-05
    """
    flow = checked("volume_flow_m3_s", volume_flow_m3_s, "m3/s")
    return unwrapped(flow / checked("capacity_w", capacity_w, "W", above=0.0))
