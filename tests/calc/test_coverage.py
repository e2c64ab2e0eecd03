"""The whole interval on simulated fields: it holds the truth, and isn't idly wide."""

import numpy as np
import pytest

from airflow_jobs.calc.kernels import wall_distance
from airflow_jobs.calc.sections import Shape
from benchmarks.coverage import WAYS, covered
from benchmarks.fields import KINDS, SMOOTH_KINDS, exact_mean, field_of

BY_NAME = {way.name: way for way in WAYS}


@pytest.mark.parametrize(
    ("shape", "aspect"), [("rectangular", 1.0), ("round", 1.0), ("flat_oval", 2.0)]
)
@pytest.mark.parametrize("kind", KINDS)
def test_the_known_mean_of_a_field_is_its_mean(kind: str, shape: Shape, aspect: float) -> None:
    field = field_of(kind, np.random.default_rng(71), shape=shape, aspect=aspect)
    side = (np.arange(1200) + 0.5) / 600.0 - 1.0
    xi, eta = np.meshgrid(side, side)
    inside = wall_distance(shape, aspect, xi, eta) > 0.0
    if shape == "flat_oval":
        inside &= np.hypot(np.maximum(np.abs(xi) * aspect - (aspect - 1.0), 0.0), eta) < 1.0
    brute = field.at(xi[inside], eta[inside]).mean()
    assert field.mean == pytest.approx(brute, rel=2e-3)
    finer = exact_mean(shape, aspect, field.exponent, field.profile, nodes=96)
    assert field.mean == pytest.approx(finer, rel=1e-6)


def test_a_field_is_the_same_for_the_same_seed() -> None:
    first, again = (field_of("jet", np.random.default_rng(72)) for _ in range(2))
    assert first.mean == again.mean


@pytest.mark.parametrize(
    ("name", "accuracy", "widest"),
    [
        ("5x5", 0.03, 0.058),
        ("5x5", 0.01, 0.048),
        ("7x7", 0.01, 0.030),
        ("5x5 equal area", 0.03, 0.063),
        ("5x5 holes moved", 0.03, 0.060),
        ("5x5 two missing", 0.03, 0.062),
        ("5 sweeps", 0.03, 0.130),
        ("round 3x6", 0.03, 0.070),
        ("oval 5x5", 0.03, 0.060),
    ],
)
def test_the_interval_holds_the_true_flow_on_smooth_fields(
    name: str, accuracy: float, widest: float
) -> None:
    lines = [
        covered(BY_NAME[name], kind, fields=12, draws=40, seed=73, accuracy=accuracy)
        for kind in SMOOTH_KINDS
    ]
    assert np.mean([line.coverage for line in lines]) >= 0.96
    assert min(line.coverage for line in lines) >= 0.92
    assert max(line.half_width for line in lines) <= widest
    assert all(line.beside_ideal < 2.3 for line in lines)


def test_blade_wakes_finer_than_the_grid_are_not_held_and_the_blade_rule_is_why() -> None:
    unaware = covered(BY_NAME["5x5"], "blades", fields=20, draws=20, seed=74, accuracy=0.03)
    aware = covered(
        BY_NAME["5x5 blades said"], "blades", fields=20, draws=20, seed=74, accuracy=0.03
    )
    assert aware.half_width > 1.3 * unaware.half_width
    assert aware.coverage > unaware.coverage
