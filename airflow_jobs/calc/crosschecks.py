"""The same flow by another way: a heat balance; and whether two ways agree.

Also the pressures around the fan, which say whether a flow is plausible.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from airflow_jobs.calc.quantities import BoolArray, FloatArray, checked, unwrapped

DRY_AIR_SPECIFIC_HEAT_J_KG_K: Final = 1006.0
"""ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 30."""

COVERAGE_FACTOR_95: Final = float(ndtri(0.975))
"""Of a normal distribution, two-sided 95 %. JCGM 100:2008, Table G.1."""


@dataclass(frozen=True, slots=True)
class HeatBalanceFlow:
    """A flow by heat balance and how well it is known.

    Attributes
    ----------
    flow_m3_s
        Actual flow at the given density, m3/s.
    relative_standard_uncertainty
        Of the flow.
    """

    flow_m3_s: FloatArray
    relative_standard_uncertainty: FloatArray


@dataclass(frozen=True, slots=True)
class Agreement:
    """How two values of one flow compare.

    Attributes
    ----------
    log_ratio
        ln(first/second): near zero it is the relative difference.
    joint_half_width
        95 % half-width of that, from what the two don't share.
    agree
        The log ratio lies within the half-width.
    """

    log_ratio: FloatArray
    joint_half_width: FloatArray
    agree: BoolArray


def flow_from_heat_m3_s(
    *,
    heat_w: npt.ArrayLike,
    temperature_change_k: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    specific_heat_j_kg_k: npt.ArrayLike = DRY_AIR_SPECIFIC_HEAT_J_KG_K,
) -> FloatArray:
    """Return the flow that takes up, or gives off, a known sensible heat.

    Parameters
    ----------
    heat_w
        Scalar or array, sensible heat between the two thermometers, W, above 0: the electric
        power of strip heat (and of a blower between them), the useful heat of a burner, or a
        sensible cooling capacity.
    temperature_change_k
        Scalar or array, between entering and leaving, K, above 0.
    density_kg_m3
        Scalar or array, of the moist air where the flow is wanted, kg/m3, above 0; for standard
        flow the standard density.
    specific_heat_j_kg_k
        Scalar or array, of moist air, J/(kg K), above 0; see `air.specific_heat_j_kg_k`.

    Returns
    -------
    Broadcast shape, m3/s.

    Raises
    ------
    ValueError
        If an argument isn't positive.

    Notes
    -----
    Q = q/(rho c dT): ASHRAE Handbook Fundamentals, sensible heat. In standard air with
    c = 0.24 Btu/(lb degF) this is the trade's q = 1.08 Q dT.

    Examples
    --------
    >>> flow = flow_from_heat_m3_s(heat_w=12060.0, temperature_change_k=10.0, density_kg_m3=1.2)
    >>> round(float(flow), 3)
    0.999
    """
    heat = checked("heat_w", heat_w, "W", above=0.0)
    change = checked("temperature_change_k", temperature_change_k, "K", above=0.0)
    density = checked("density_kg_m3", density_kg_m3, "kg/m3", above=0.0)
    specific_heat = checked("specific_heat_j_kg_k", specific_heat_j_kg_k, "J/(kg K)", above=0.0)
    return unwrapped(heat / (density * specific_heat * change))


def sensible_heat_w(
    *,
    flow_m3_s: npt.ArrayLike,
    temperature_change_k: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    specific_heat_j_kg_k: npt.ArrayLike = DRY_AIR_SPECIFIC_HEAT_J_KG_K,
) -> FloatArray:
    """Return the sensible heat that a flow carries over a temperature change.

    Parameters
    ----------
    flow_m3_s
        Scalar or array, actual flow at the density, m3/s.
    temperature_change_k
        Scalar or array, leaving less entering, K.
    density_kg_m3, specific_heat_j_kg_k
        As for `flow_from_heat_m3_s`.

    Returns
    -------
    Broadcast shape, W; negative where the air cools.

    Raises
    ------
    ValueError
        If density or specific heat isn't positive.

    Notes
    -----
    Source: the inverse of `flow_from_heat_m3_s`.

    Examples
    --------
    >>> round(float(sensible_heat_w(flow_m3_s=1.0, temperature_change_k=10.0,
    ...                             density_kg_m3=1.2)))
    12072
    """
    flow = checked("flow_m3_s", flow_m3_s, "m3/s")
    change = checked("temperature_change_k", temperature_change_k, "K")
    density = checked("density_kg_m3", density_kg_m3, "kg/m3", above=0.0)
    specific_heat = checked("specific_heat_j_kg_k", specific_heat_j_kg_k, "J/(kg K)", above=0.0)
    return unwrapped(flow * density * specific_heat * change)


def useful_heat_w(*, heat_input_w: npt.ArrayLike, efficiency: npt.ArrayLike) -> FloatArray:
    """Return the part of a burner's input that reaches the air.

    Parameters
    ----------
    heat_input_w
        Scalar or array, from the fuel's metered rate or the nameplate, W, above 0.
    efficiency
        Scalar or array, steady-state thermal efficiency, ratio, above 0, at most 1.

    Returns
    -------
    Broadcast shape, W.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> float(useful_heat_w(heat_input_w=20000.0, efficiency=0.8))
    16000.0
    """
    heat = checked("heat_input_w", heat_input_w, "W", above=0.0)
    return unwrapped(heat * checked("efficiency", efficiency, "1", above=0.0, at_most=1.0))


def heat_balance_flow(
    *,
    heat_w: npt.ArrayLike,
    entering_c: npt.ArrayLike,
    leaving_c: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    specific_heat_j_kg_k: npt.ArrayLike = DRY_AIR_SPECIFIC_HEAT_J_KG_K,
    heat_relative_uncertainty: npt.ArrayLike = 0.03,
    temperature_uncertainty_k: npt.ArrayLike = 0.5,
    density_relative_uncertainty: npt.ArrayLike = 0.0,
) -> HeatBalanceFlow:
    """Return the flow by heat balance with its uncertainty.

    Parameters
    ----------
    heat_w
        Scalar or array, sensible heat to the air, or from it where it cools, W, above 0.
    entering_c, leaving_c
        Scalars or arrays, mean air temperatures, degC; they must differ.
    density_kg_m3, specific_heat_j_kg_k
        As for `flow_from_heat_m3_s`.
    heat_relative_uncertainty
        Standard uncertainty of the heat, ratio; 3 % for measured electric power or a clocked fuel
        meter with a known efficiency, more for a nameplate. Common practice.
    temperature_uncertainty_k
        Standard uncertainty of each mean temperature, unevenness over the section included, K.
        Common practice.
    density_relative_uncertainty
        Standard uncertainty of the density, ratio; 0 for a standard flow.

    Returns
    -------
    HeatBalanceFlow

    Raises
    ------
    ValueError
        If an argument is impossible, or the temperatures are equal.

    Notes
    -----
    Relative contributions in quadrature, JCGM 100:2008, Eq. 12.

    Examples
    --------
    >>> balance = heat_balance_flow(heat_w=10000.0, entering_c=20.0, leaving_c=38.0,
    ...                             density_kg_m3=1.2014)
    >>> round(float(balance.flow_m3_s), 4), round(float(balance.relative_standard_uncertainty), 3)
    (0.4597, 0.049)
    """
    entering = checked("entering_c", entering_c, "degC", above=-273.15)
    leaving = checked("leaving_c", leaving_c, "degC", above=-273.15)
    change = np.abs(leaving - entering)
    if np.any(change == 0.0):
        same = np.broadcast_to(leaving, change.shape)[change == 0.0].flat[0]
        raise ValueError(f"leaving_c is {same:g} degC, as entering_c is; they must differ")
    u_heat = checked("heat_relative_uncertainty", heat_relative_uncertainty, "1", at_least=0.0)
    u_temperature = checked(
        "temperature_uncertainty_k", temperature_uncertainty_k, "K", at_least=0.0
    )
    u_density = checked(
        "density_relative_uncertainty", density_relative_uncertainty, "1", at_least=0.0
    )
    flow = flow_from_heat_m3_s(
        heat_w=heat_w,
        temperature_change_k=change,
        density_kg_m3=density_kg_m3,
        specific_heat_j_kg_k=specific_heat_j_kg_k,
    )
    relative = np.sqrt(u_heat**2 + 2.0 * (u_temperature / change) ** 2 + u_density**2)
    return HeatBalanceFlow(flow, unwrapped(np.broadcast_to(relative, np.shape(flow))))


def agreement(
    *,
    first_flow_m3_s: npt.ArrayLike,
    second_flow_m3_s: npt.ArrayLike,
    first_relative_uncertainty: npt.ArrayLike,
    second_relative_uncertainty: npt.ArrayLike,
    shared_relative_uncertainty: npt.ArrayLike = 0.0,
) -> Agreement:
    """Return whether two values of one flow agree within their joint interval.

    Parameters
    ----------
    first_flow_m3_s, second_flow_m3_s
        Scalars or arrays, on the same basis, m3/s, above 0.
    first_relative_uncertainty, second_relative_uncertainty
        Scalars or arrays, relative standard uncertainties, at least 0.
    shared_relative_uncertainty
        Scalar or array: the part that both contain alike (the same meter, the same density), which
        can't make them differ; at most either.

    Returns
    -------
    Agreement

    Raises
    ------
    ValueError
        If an argument is impossible.

    Notes
    -----
    u^2(ln a - ln b) = u_a^2 + u_b^2 - 2 u_shared^2: JCGM 100:2008, 5.2.2; 95 % of a normal.

    Examples
    --------
    >>> bool(agreement(first_flow_m3_s=0.5, second_flow_m3_s=0.53,
    ...                first_relative_uncertainty=0.02, second_relative_uncertainty=0.04).agree)
    True
    """
    first = checked("first_flow_m3_s", first_flow_m3_s, "m3/s", above=0.0)
    second = checked("second_flow_m3_s", second_flow_m3_s, "m3/s", above=0.0)
    u_first = checked("first_relative_uncertainty", first_relative_uncertainty, "1", at_least=0.0)
    u_second = checked(
        "second_relative_uncertainty", second_relative_uncertainty, "1", at_least=0.0
    )
    shared = checked("shared_relative_uncertainty", shared_relative_uncertainty, "1", at_least=0.0)
    if np.any(shared > np.minimum(u_first, u_second)):
        raise ValueError(
            f"shared_relative_uncertainty is {np.max(shared):g}; it must be at most "
            "the smaller of the two uncertainties"
        )
    log_ratio = np.log(first / second)
    variance = (u_first**2 - shared**2) + (u_second**2 - shared**2)
    half_width = COVERAGE_FACTOR_95 * np.sqrt(variance)
    return Agreement(
        log_ratio=unwrapped(log_ratio),
        joint_half_width=unwrapped(half_width),
        agree=np.asarray(np.abs(log_ratio) <= half_width, dtype=np.bool_),
    )


def total_external_static_pa(
    *, supply_static_pa: npt.ArrayLike, return_static_pa: npt.ArrayLike
) -> FloatArray:
    """Return the static pressure that the duct system puts on the unit.

    Parameters
    ----------
    supply_static_pa
        Scalar or array, where the air leaves the unit, against the room, Pa (as a rule positive).
    return_static_pa
        Scalar or array, where the air enters the unit, against the room, Pa (as a rule negative).

    Returns
    -------
    Broadcast shape, supply less return, Pa.

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> float(total_external_static_pa(supply_static_pa=75.0, return_static_pa=-50.0))
    125.0
    """
    supply = checked("supply_static_pa", supply_static_pa, "Pa")
    return unwrapped(supply - checked("return_static_pa", return_static_pa, "Pa"))


def pressure_drop_pa(*, before_pa: npt.ArrayLike, after_pa: npt.ArrayLike) -> FloatArray:
    """Return the static pressure lost across a filter or a coil.

    Parameters
    ----------
    before_pa, after_pa
        Scalars or arrays, static pressures in the direction of flow, Pa.

    Returns
    -------
    Broadcast shape, before less after, Pa; negative where the two were swapped.

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> float(pressure_drop_pa(before_pa=-20.0, after_pa=-70.0))
    50.0
    """
    before = checked("before_pa", before_pa, "Pa")
    return unwrapped(before - checked("after_pa", after_pa, "Pa"))
