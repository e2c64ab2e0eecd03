"""How often the 95 % interval holds the true flow, and how wide it is beside the ideal one.

    python -m benchmarks.coverage [--quick] [--seed 1] [--accuracy 0.03]

Fields are simulated, with exactly known means (`benchmarks.fields`); every error of the budget is
drawn as declared (`benchmarks.measuring`) and the readings go through the evaluation itself. The
ideal interval is 1.96 times the root mean square error that really occurred: what somebody would
state who knew it. Claims are about declared kinds of field; no measured dense traverse with an
independent flow stands behind them.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from airflow_jobs.calc.evaluation import evaluate
from airflow_jobs.calc.layouts import plan_by_rule
from airflow_jobs.calc.quantities import FloatArray
from benchmarks.fields import KINDS, field_of
from benchmarks.measuring import Way, measured

NORMAL_FACTOR = 1.96

WAYS: tuple[Way, ...] = (
    Way("5x5", plan_by_rule("rectangular", "log_tchebycheff", 5, 5), 0.457, 0.610),
    Way("7x7", plan_by_rule("rectangular", "log_tchebycheff", 7, 7), 0.95, 0.95, blades=True),
    Way("5x5 equal area", plan_by_rule("rectangular", "equal_area", 5, 5), 0.457, 0.610),
    Way("5x5 blades said", plan_by_rule("rectangular", "log_tchebycheff", 5, 5), 0.457, 0.610,
        blades=True),
    Way("5x5 holes moved", plan_by_rule("rectangular", "log_tchebycheff", 5, 5), 0.457, 0.610,
        hole_shift=0.03),
    Way("5x5 two missing", plan_by_rule("rectangular", "log_tchebycheff", 5, 5), 0.457, 0.610,
        missing=2),
    Way("5 sweeps", plan_by_rule("rectangular", "log_tchebycheff", 5, 5), 0.457, 0.610,
        mode="sweeps", gap_m=0.02),
    Way("average", plan_by_rule("rectangular", "log_tchebycheff", 5, 5), 0.457, 0.610,
        mode="average", gap_m=0.02),
    Way("round 3x6", plan_by_rule("round", "log_linear", 3, 6), 0.40, 0.40),
    Way("round 2x6", plan_by_rule("round", "log_linear", 2, 6), 0.40, 0.40),
    Way("round 3x6 moved", plan_by_rule("round", "log_linear", 3, 6), 0.40, 0.40, hole_shift=0.03),
    Way("oval 5x5", plan_by_rule("flat_oval", "log_tchebycheff", 5, 5, 2.0), 0.60, 0.30),
    Way("oval 5 sweeps", plan_by_rule("flat_oval", "log_tchebycheff", 5, 5, 2.0), 0.60, 0.30,
        mode="sweeps", gap_m=0.01),
)  # fmt: skip


@dataclass(frozen=True)
class Line:
    """What one way of measuring makes of one kind of field; shares and relative numbers.

    Attributes
    ----------
    way, kind : str
    coverage : float
        Share of intervals that hold the true flow.
    half_width : float
        Mean U95.
    error, bias : float
        Root mean square and mean of the best estimate's error.
    rule_error : float
        Root mean square of the error of the mean by the rule.
    naive_coverage : float
        Of the rule's mean with t s / sqrt n, all other terms left out.
    """

    way: str
    kind: str
    coverage: float
    half_width: float
    error: float
    bias: float
    rule_error: float
    naive_coverage: float

    @property
    def beside_ideal(self) -> float:
        """Mean half width over the ideal one."""
        return self.half_width / (NORMAL_FACTOR * self.error)


def covered(way: Way, kind: str, *, fields: int, draws: int, seed: int, accuracy: float) -> Line:
    """Measure many fields of a kind many times and count.

    Parameters
    ----------
    way : Way
    kind : str
        Of field.
    fields, draws : int
        How many fields, and how many measurements of each.
    seed : int
    accuracy : float
        Relative limit of error of the meter.

    Returns
    -------
    Line
    """
    rng = np.random.default_rng([seed, list(KINDS).index(kind)])
    aspect = way.plan.oval_aspect if way.plan.oval_aspect is not None else 1.0
    errors: list[FloatArray] = []
    widths: list[FloatArray] = []
    rule_errors: list[FloatArray] = []
    naive: list[FloatArray] = []
    for _ in range(fields):
        field = field_of(kind, rng, shape=way.plan.shape, aspect=aspect)
        drawn = measured(way, field, draws, rng, accuracy=accuracy)
        result = evaluate(drawn.batch)
        errors.append(result.best_estimate.actual_m3_s / drawn.flow_m3_s - 1.0)
        widths.append(result.budget_actual.relative_u95)
        rule_errors.append(result.by_rule.actual_m3_s / drawn.flow_m3_s - 1.0)
        naive.append(_naive_half_width(drawn.batch.readings))
    error, width = np.concatenate(errors), np.concatenate(widths)
    # The interval is q less and plus U95 q; it holds the truth if |q - truth| is at most U95 q.
    holds = np.abs(error) <= width * (1.0 + error)
    rule_error = np.concatenate(rule_errors)
    return Line(
        way=way.name,
        kind=kind,
        coverage=float(holds.mean()),
        half_width=float(width.mean()),
        error=float(np.sqrt(np.mean(error**2))),
        bias=float(error.mean()),
        rule_error=float(np.sqrt(np.mean(rule_error**2))),
        naive_coverage=_coverage(rule_error, np.concatenate(naive)),
    )


def _coverage(error: FloatArray, half_width: FloatArray) -> float:
    if np.isnan(half_width).any():
        return float("nan")
    return float(np.mean(np.abs(error) <= half_width))


def _share(value: float) -> str:
    """A share in print; a dash where an average leaves nothing to work it out from."""
    return "-" if np.isnan(value) else f"{value:.1%}"


def _naive_half_width(readings: FloatArray) -> FloatArray:
    """The textbook half width of a mean of independent readings, relative."""
    present = readings[:, ~np.isnan(readings[0])]
    count = present.shape[1]
    if count < 2:
        return np.full(present.shape[0], np.nan)
    factor = student.ppf(0.975, count - 1)
    scatter = present.std(axis=1, ddof=1) / present.mean(axis=1)
    half: FloatArray = factor * scatter / np.sqrt(count)
    return half


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer fields and measurements")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--accuracy", type=float, default=0.03, help="the meter's limit of error")
    options = parser.parse_args(arguments)
    fields, draws = (6, 50) if options.quick else (40, 100)

    print(
        f"Coverage of the 95 % interval of actual flow, meter ±{100 * options.accuracy:g} %, seed "
        f"{options.seed}, {fields} fields of a kind, {draws} measurements of each"
    )
    print(
        f"{'way':16} {'field':12} {'covered':>8} {'U95':>6} {'error':>6} {'bias':>6} "
        f"{'U95/ideal':>9} {'rule err':>8} {'naive cov':>9}"
    )
    for way in WAYS:
        lines = [
            covered(way, kind, fields=fields, draws=draws, seed=options.seed,
                    accuracy=options.accuracy)
            for kind in KINDS
        ]  # fmt: skip
        for line in lines:
            print(
                f"{line.way:16} {line.kind:12} {line.coverage:8.1%} {line.half_width:6.1%} "
                f"{line.error:6.2%} {line.bias:+6.2%} {line.beside_ideal:9.2f} "
                f"{line.rule_error:8.2%} {_share(line.naive_coverage):>9}"
            )
        worst = min(lines, key=lambda line: line.coverage)
        print(f"{way.name:16} worst: {worst.kind}, {worst.coverage:.1%}\n")


if __name__ == "__main__":
    main()
