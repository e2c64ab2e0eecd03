"""Whether a meter reads high: found where it is so, not found where it is chance."""

import numpy as np
import pytest

from dashboards.statistics.meters import meter_offsets


def _pairs(
    rng: np.random.Generator, truth: list[float], *, strata: int, sd: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return flows of each stratum as two meters gave them."""
    flow, meter, stratum = [], [], []
    for number in range(strata):
        level = rng.normal(0.0, 0.5)
        for one in rng.choice(len(truth), 2, replace=False):
            flow.append(level + truth[one] + rng.normal(0.0, sd))
            meter.append(one)
            stratum.append(number)
    return np.array(flow), np.array(meter), np.array(stratum)


def test_offsets_of_meters_that_never_err_come_out_as_they_are() -> None:
    truth = [0.0, 0.06, -0.02, 0.0]
    flow, meter, stratum = _pairs(np.random.default_rng(1), truth, strata=200, sd=0.0)
    found = meter_offsets(flow, meter=meter, stratum=stratum, meters=4)
    assert found.offset == pytest.approx(truth, abs=1e-6)


def test_the_flows_themselves_change_nothing() -> None:
    flow, meter, stratum = _pairs(np.random.default_rng(2), [0.0, 0.05, 0.0], strata=60, sd=0.02)
    plain = meter_offsets(flow, meter=meter, stratum=stratum, meters=3)
    moved = meter_offsets(flow + 0.3 * stratum, meter=meter, stratum=stratum, meters=3)
    assert moved.offset == pytest.approx(plain.offset, abs=1e-6)


def test_a_few_wild_values_move_an_offset_little() -> None:
    flow, meter, stratum = _pairs(np.random.default_rng(3), [0.0] * 5, strata=200, sd=0.02)
    flow[::40] += 2.0
    found = meter_offsets(flow, meter=meter, stratum=stratum, meters=5)
    assert np.max(np.abs(found.offset)) < 0.02


def test_intervals_hold_the_offset_as_often_as_they_say() -> None:
    rng = np.random.default_rng(4)
    truth = np.array([0.0, 0.06, 0.0, -0.01, 0.01, 0.0, 0.0])
    held = []
    for _ in range(200):
        flow, meter, stratum = _pairs(rng, list(truth), strata=100, sd=0.03)
        found = meter_offsets(flow, meter=meter, stratum=stratum, meters=7)
        held.append((found.low <= truth) & (truth <= found.high))
    assert np.mean(held) > 0.92


def test_too_few_comparisons_give_no_interval_and_none_gives_no_offset() -> None:
    found = meter_offsets([0.0, 0.1, 0.4], meter=[0, 1, 2], stratum=[0, 0, 1], meters=4)
    assert list(found.comparisons) == [1, 1, 0, 0]
    assert found.offset[1] - found.offset[0] == pytest.approx(0.1)
    assert np.isinf(found.low[0])
    assert np.isinf(found.high[0])
    assert np.isnan(found.offset[2])
    nothing = meter_offsets([], meter=[], stratum=[], meters=2)
    assert np.all(np.isnan(nothing.offset))


def test_impossible_arguments_are_refused() -> None:
    with pytest.raises(ValueError, match="one shape"):
        meter_offsets([0.0], meter=[0, 1], stratum=[0], meters=2)
    with pytest.raises(ValueError, match="meter must be from 0 to 1"):
        meter_offsets([0.0], meter=[2], stratum=[0], meters=2)
    with pytest.raises(ValueError, match="level"):
        meter_offsets([0.0], meter=[0], stratum=[0], meters=2, level=1.0)
