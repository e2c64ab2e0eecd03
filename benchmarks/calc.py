"""How fast the numerical core is, beside the bare mean of the same arrays in the same run.

    python -m benchmarks.calc [--quick]

One core. Every figure is the best of a few rounds; the yardstick runs in the same rounds.
"""

import argparse
import os
import time
from collections.abc import Callable, Sequence

# One thread of linear algebra, set before numpy loads: the figures are for one core.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from airflow_jobs.calc.best_estimate import estimate_mean
from airflow_jobs.calc.evaluation import evaluate
from airflow_jobs.calc.instruments import instruments
from airflow_jobs.calc.layouts import Plan, plan_by_rule
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import points_of_plan
from airflow_jobs.calc.traverse_batch import TraverseBatch

SEED = 7
ROUNDS = 5


def best_of(rounds: int, work: Callable[[], object]) -> float:
    """Shortest time of several rounds, s."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def simulated_batch(plan: Plan, number: int, seed: int = SEED) -> TraverseBatch:
    """N traverses of one plan with instruments, air, sections and targets of their own."""
    rng = np.random.default_rng(seed)
    level = rng.uniform(1.5, 6.0, (number, 1))
    readings = level * (1.0 + 0.1 * rng.standard_normal((number, plan.number_of_points)))
    width = rng.uniform(0.3, 0.7, number)
    height = width if plan.shape == "round" else rng.uniform(0.3, 0.7, number)
    return TraverseBatch(
        plan=plan,
        readings=readings,
        instruments=instruments(
            principle=rng.integers(0, 3, number),
            shows=rng.integers(0, 2, number),
            compensates_temperature=rng.integers(-1, 2, number),
            compensates_pressure=rng.integers(0, 2, number),
            compensates_humidity=np.zeros(number, dtype=int),
            gain=rng.normal(1.0, 0.01, number),
        ),
        direction_response=rng.integers(0, 3, number).astype(np.int8),
        accuracy_relative=np.full(number, 0.03),
        accuracy_absolute_m_s=np.full(number, 0.02),
        resolution_m_s=np.full(number, 0.01),
        width_m=width,
        height_m=height,
        dry_bulb_c=rng.uniform(10.0, 35.0, number),
        relative_humidity=rng.uniform(0.2, 0.7, number),
        pressure_pa=rng.uniform(82000.0, 102000.0, number),
        dry_bulb_u_c=np.full(number, 0.5),
        relative_humidity_u=np.full(number, 0.05),
        pressure_u_pa=np.full(number, 500.0),
        capacity_w=rng.uniform(7000.0, 18000.0, number),
        target_low=np.full(number, 4.7e-5),
        target_nominal=np.full(number, 5.4e-5),
        target_high=np.full(number, 6.0e-5),
    )


def evaluation_beside_the_mean(number: int) -> tuple[float, float]:
    """Seconds for the whole evaluation of N traverses of 25 points, and for their bare mean."""
    batch = simulated_batch(plan_by_rule("rectangular", "log_tchebycheff", 5, 5), number)
    readings: FloatArray = batch.readings
    evaluate(batch)
    return (
        best_of(ROUNDS, lambda: evaluate(batch)),
        best_of(ROUNDS, lambda: readings.mean(axis=1)),
    )


def best_estimates(plan: Plan, number: int) -> float:
    """Seconds for the best estimates of N traverses on plan, in blocks of a hundred thousand."""
    rng = np.random.default_rng(SEED)
    places = points_of_plan(plan)
    block = min(number, 100_000)
    velocity = 3.0 * (1.0 + 0.1 * rng.standard_normal((block, places.count)))
    estimate_mean(velocity[:1], places)
    start = time.perf_counter()
    for _ in range(number // block):
        estimate_mean(velocity, places)
    return time.perf_counter() - start


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a tenth of the traverses")
    options = parser.parse_args(arguments)
    scale = 10 if options.quick else 1

    number = 100_000 // scale
    whole, mean = evaluation_beside_the_mean(number)
    print(f"Whole evaluation, {number:,} traverses of 25 points, one core")
    print(f"  evaluate        {whole:8.3f} s   {1e6 * whole / number:6.2f} µs a traverse")
    print(f"  numpy mean      {mean:8.3f} s   {1e6 * mean / number:6.2f} µs a traverse")
    print(f"  ratio           {whole / mean:8.0f}")

    number = 1_000_000 // scale
    print(f"Best estimate on plan, {number:,} traverses, one core")
    for name, plan in (
        ("5x5 points", plan_by_rule("rectangular", "log_tchebycheff", 5, 5)),
        ("7x7 points", plan_by_rule("rectangular", "log_tchebycheff", 7, 7)),
        ("3x6 points", plan_by_rule("round", "log_linear", 3, 6)),
    ):
        seconds = best_estimates(plan, number)
        print(f"  {name}      {seconds:8.3f} s   {1e6 * seconds / number:6.2f} µs a traverse")

    single = simulated_batch(plan_by_rule("rectangular", "log_tchebycheff", 5, 5), 1)
    evaluate(single)
    alone = best_of(20, lambda: evaluate(single))
    print(f"One traverse by itself  {1e3 * alone:.2f} ms")


if __name__ == "__main__":
    main()
