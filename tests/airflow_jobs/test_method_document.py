"""The method document says what the code does: anchors, links, constants, worked examples.

A table that stands under `<!-- checked: name -->` is worked out again here, number by number, to
the digits that are printed.
"""

from __future__ import annotations

import importlib
import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from airflow_jobs.calc.air import pressure_from_elevation_pa
from airflow_jobs.calc.best_estimate import (
    NOISE_RATIOS,
    RECTANGULAR_RANGES,
    ROUND_RANGES,
    WALL_EXPONENTS,
    estimate_mean,
    expected_wall_factor,
)
from airflow_jobs.calc.conformity import VERDICTS
from airflow_jobs.calc.coverage_factor import student_factor
from airflow_jobs.calc.evaluation import evaluate
from airflow_jobs.calc.humidity import vapour_pressure_from_relative_humidity_pa
from airflow_jobs.calc.instruments import COSINE, air_state, instruments
from airflow_jobs.calc.integration import transfer_weights
from airflow_jobs.calc.layouts import Plan, plan_by_rule
from airflow_jobs.calc.narrowing import narrowing_sentence
from airflow_jobs.calc.rules import LOG_LINEAR_PRINTED, LOG_TCHEBYCHEFF_PRINTED
from airflow_jobs.calc.sampling import Sampling, points_of_plan
from airflow_jobs.calc.sensing import density_factor
from airflow_jobs.calc.spatial import spatial_constants, spatial_uncertainty
from airflow_jobs.calc.sweeps import gap_factor, gap_uncertainty
from airflow_jobs.calc.traverse_batch import TraverseBatch
from airflow_jobs.calc.traverse_results import Evaluation
from airflow_jobs.calc.uncertainty import COMPONENT_NAMES, COMPONENTS
from airflow_jobs.findings import CATALOGUE
from airflow_jobs.recompute.air_states import (
    ASSUMED_DRY_BULB_C,
    BAROMETER_RELATIVE_U,
    DRY_BULB_U_C,
    ELEVATION_RELATIVE_U,
    HUMIDITY_U,
)
from airflow_jobs.recompute.targets import CLIMATE_RANGES, HEAT_PUMP_RANGE
from airflow_jobs.units import (
    BAROMETRIC_PRESSURE,
    CAPACITY,
    ELEVATION,
    FLOW,
    FLOW_PER_CAPACITY,
    LENGTH,
    MASS_FLOW,
    TEMPERATURE,
    VELOCITY,
    Dimension,
    from_si,
    to_si,
)
from benchmarks.fields import SMOOTH_KINDS, Field, fields
from tests.calc.samplings import LINES_5, RECTANGLE_5, grid

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "method.md"

# The sections that pages link to, whatever else the document has.
SECTIONS = [
    "section",
    "layout",
    "readings",
    "calibration",
    "density",
    "positions",
    "sweep_gap",
    "wall",
    "alignment",
    "best-estimate",
    "interval",
    "flows",
    "target",
    "verdict",
    "flow-sets",
    "blower-advice",
    "cross-checks",
    "leakage",
    "findings",
    "statistics",
    "one-system",
    "compared",
    "found-again",
    "limits",
]


@cache
def text() -> str:
    """The document."""
    return DOCUMENT.read_text(encoding="utf-8")


def anchors() -> list[str]:
    """The anchors in order."""
    return re.findall(r'<a id="([^"]+)"></a>', text())


def checked_rows(name: str) -> list[list[str]]:
    """The body rows of the tables that are marked as checked under a name."""
    lines = text().splitlines()
    rows: list[list[str]] = []
    for start in [n for n, line in enumerate(lines) if line == f"<!-- checked: {name} -->"]:
        body = lines[start + 1 :]
        assert body[0].startswith("|"), f"no table follows the mark {name!r} of line {start + 1}"
        size = next((n for n, line in enumerate(body) if not line.startswith("|")), len(body))
        rows += [[cell.strip() for cell in line.strip("|").split("|")] for line in body[2:size]]
    assert rows, f"no table is marked {name!r}"
    return rows


def printed(cell: str) -> tuple[float, float]:
    """The number in a cell, and half a unit of its last digit."""
    found = re.search(r"[-+−]?\d[\d,]*(?:\.(\d+))?", cell)
    assert found, f"there is no number in {cell!r}"
    number = float(found.group().replace(",", "").replace("−", "-"))
    return number, 0.5 * 10.0 ** -len(found.group(1) or "")


def assert_printed(cell: str, value: float, what: str) -> None:
    """Fail unless a printed number is this value, rounded."""
    number, half = printed(cell)
    assert abs(number - value) <= half * (1.0 + 1e-6), f"{what}: {cell!r} against {value!r}"


# ---- Places and links.


def test_every_anchor_is_there_once() -> None:
    found = anchors()
    assert sorted(found) == sorted(set(found))


def test_every_heading_has_an_anchor_before_it() -> None:
    lines = text().splitlines()
    in_code = False
    for number, line in enumerate(lines):
        in_code ^= line.startswith("```")
        if line.startswith("##") and not in_code:
            assert lines[number - 1].startswith('<a id="'), line


def test_pages_find_every_section_that_they_link_to() -> None:
    assert set(SECTIONS) <= set(anchors())


def test_every_component_of_the_budget_has_its_place() -> None:
    assert {f"budget-{name}" for name in COMPONENT_NAMES} <= set(anchors())


def test_every_step_of_a_correction_has_its_place() -> None:
    steps = {correction.step for correction in sea_level().corrections}
    assert steps == {"positions", "calibration", "density", "sweep_gap", "wall", "alignment"}
    assert steps <= set(anchors())


def test_every_finding_has_its_place_and_its_severity() -> None:
    assert {f"finding-{finding.code}" for finding in CATALOGUE} == {
        anchor for anchor in anchors() if anchor.startswith("finding-")
    }
    severities = {
        code.group(1): row[1]
        for row in checked_rows("findings")
        if (code := re.search(r"`(\w+)`", row[0]))
    }
    assert severities == {finding.code: finding.severity for finding in CATALOGUE}


def test_every_link_leads_somewhere() -> None:
    links = re.findall(r"\]\(([^)]+)\)", text())
    assert links
    for link in links:
        if link.startswith("#"):
            assert link[1:] in anchors(), link
        else:
            assert (DOCUMENT.parent / link.split("#")[0]).exists(), link


# ---- Constants and data of the method.


def _constant(path: str) -> float:
    """The constant at a dotted path of the project, its package left out where it is ours."""
    module, name = path.rsplit(".", 1)
    package = "" if module.startswith("dashboards.") else "airflow_jobs."
    return float(getattr(importlib.import_module(package + module), name))


def test_every_constant_is_the_codes() -> None:
    for module, constants in checked_rows("constants"):
        pairs = re.findall(r"`(\w+)` (\S+)", constants)
        assert len(pairs) == constants.count("`") // 2 > 0, module
        for name, value in pairs:
            assert_printed(value.rstrip(","), _constant(f"{module.strip('`')}.{name}"), name)


def test_the_components_are_the_budgets() -> None:
    rows = checked_rows("components")
    assert [re.findall(r"`(\w+)`", row[0])[0] for row in rows] == list(COMPONENT_NAMES)
    for (_, shared, left, least, remedy), component in zip(rows, COMPONENTS, strict=True):
        assert shared == component.shared_by
        assert_printed(left, component.left_after, component.name)
        assert_printed(least, 100.0 * component.least, component.name)
        assert remedy == component.remedy


def test_printed_positions_are_the_rules() -> None:
    printed_rules = {"log-Tchebycheff": LOG_TCHEBYCHEFF_PRINTED, "log-linear": LOG_LINEAR_PRINTED}
    rows = checked_rows("positions")
    assert len(rows) == sum(len(rule) for rule in printed_rules.values())
    for rule, count, fractions in rows:
        expected = printed_rules[rule][int(count)]
        assert [float(item) for item in fractions.split()] == list(expected)


def test_the_mixture_is_the_codes() -> None:
    def pairs(column: int) -> list[tuple[str, float]]:
        cells = [row[column : column + 2] for row in checked_rows("mixture")]
        return [(value, float(prior)) for value, prior in cells if value]

    def ranges(of: Any) -> list[tuple[str, float]]:
        return [(f"{along:g}, {depth:g}", prior) for (along, depth), prior in of]

    assert pairs(0) == [(f"{n:g}", prior) for n, prior in WALL_EXPONENTS]
    assert pairs(2) == ranges(RECTANGULAR_RANGES)
    assert pairs(4) == ranges(ROUND_RANGES)
    assert pairs(6) == [(f"{tau:g}", prior) for tau, prior in NOISE_RATIOS]


SPATIAL_KINDS: dict[str, dict[str, Any]] = {
    "rectangle, log-Tchebycheff": {"shape": "rectangular", "rule": "log_tchebycheff", "lines": 5},
    "rectangle, equal area": {"shape": "rectangular", "rule": "equal_area", "lines": 5},
    "round, three diameters": {"shape": "round", "rule": "log_linear", "lines": 3},
    "round, one or two diameters": {"shape": "round", "rule": "log_linear", "lines": 2},
    "flat oval": {"shape": "flat_oval", "rule": "log_tchebycheff", "lines": 5},
}


def test_factors_and_floors_are_the_codes() -> None:
    rows = checked_rows("spatial")
    assert [row[0] for row in rows] == list(SPATIAL_KINDS)
    for kind, factor, floor in rows:
        constants = spatial_constants(**SPATIAL_KINDS[kind])
        assert_printed(factor, constants.factor, kind)
        assert_printed(floor, 100.0 * constants.floor, kind)


def test_assumed_temperatures_are_the_codes() -> None:
    rows = checked_rows("dry-bulb")
    found = {
        (path, "" if call == "any other" else call): (float(value), float(u))
        for path, call, value, u in rows
    }
    assert found == {
        (str(path), str(call)): both for (path, call), both in ASSUMED_DRY_BULB_C.items()
    }


def test_usual_ranges_are_the_codes() -> None:
    found = {row[0]: tuple(float(cell) for cell in row[1:]) for row in checked_rows("usual-ranges")}
    assert found == {
        "heat pump": HEAT_PUMP_RANGE,
        "humid climate": CLIMATE_RANGES["humid"],
        "dry climate": CLIMATE_RANGES["dry"],
    }


def test_gap_factors_are_the_codes() -> None:
    for gap, factor, known, skewed in checked_rows("gaps"):
        both = {"near": printed(gap)[0], "far": printed(gap)[0]}
        assert_printed(factor, float(gap_factor(**both)), gap)
        assert_printed(known, 100.0 * float(gap_uncertainty(**both, is_skew_possible=False)), gap)
        assert_printed(skewed, 100.0 * float(gap_uncertainty(**both, is_skew_possible=True)), gap)


# ---- What was tried.


@cache
def drawn(seed: int, number: int) -> list[Field]:
    """Fields of a rectangle, the same for everybody who draws them."""
    return fields(SMOOTH_KINDS, number, seed=seed)


def _moved(case: str, rng: np.random.Generator) -> Sampling:
    """A five by five traverse with something moved or missing."""
    lines = LINES_5.copy()
    if case == "second line at 0.238 in place of 0.288":
        lines[1] = 2.0 * 0.238 - 1.0
    elif case == "one line off by a tenth of the side":
        index, shift = rng.integers(5), 0.2 * rng.choice([-1.0, 1.0])
        lines[index] += shift if abs(lines[index] + shift) < 0.98 else -shift
    elif case == "every line off, 3 % of the side (sd)":
        lines = np.clip(lines + rng.normal(0.0, 0.06, 5), -0.97, 0.97)
    elif case == "all depths off by 3 % of the depth":
        return grid(LINES_5, LINES_5 + 0.06)
    else:
        present = np.ones((5, 5), dtype=bool)
        if case == "a whole line missing":
            present[rng.integers(5)] = False
        else:
            count = {"one point missing": 1, "three points missing": 3}[case]
            present.flat[rng.choice(25, count, replace=False)] = False
        return points_of_plan(RECTANGLE_5).keep(present.ravel())
    return grid(lines, LINES_5)


def test_weights_on_other_places_do_what_the_document_says() -> None:
    planned = points_of_plan(RECTANGLE_5)
    for case, plain, transfer in checked_rows("transfer"):
        rng = np.random.default_rng(2031)
        changes = []
        for field in drawn(2031, 25):
            moved = _moved(case, rng)
            velocity = field.at(moved.xi, moved.eta)
            base = field.at(planned.xi, planned.eta).mean()
            weighted = transfer_weights(planned, moved) @ velocity
            changes.append((velocity.mean() / base - 1.0, weighted / base - 1.0))
        both = 100.0 * np.sqrt(np.mean(np.array(changes) ** 2, axis=0))
        assert_printed(plain, both[0], case)
        assert_printed(transfer, both[1], case)


LAYOUTS: dict[str, Plan] = {
    "log-Tchebycheff 5 × 5": plan_by_rule("rectangular", "log_tchebycheff", 5, 5),
    "log-Tchebycheff 7 × 7": plan_by_rule("rectangular", "log_tchebycheff", 7, 7),
    "equal area 5 × 5": plan_by_rule("rectangular", "equal_area", 5, 5),
    "equal area 8 × 8": plan_by_rule("rectangular", "equal_area", 8, 8),
    "log-linear 3 × 6": plan_by_rule("round", "log_linear", 3, 6),
    "log-linear 2 × 6": plan_by_rule("round", "log_linear", 2, 6),
    "log-linear 2 × 10": plan_by_rule("round", "log_linear", 2, 10),
    "equal annuli 3 × 6": plan_by_rule("round", "equal_annuli", 3, 6),
    "oval 2:1, log-Tchebycheff 5 × 5": plan_by_rule(
        "flat_oval", "log_tchebycheff", 5, 5, oval_aspect=2.0
    ),
}


def _flat_factor(sampling: Sampling) -> float:
    """One factor for developed flow."""
    return expected_wall_factor(sampling, np.full(sampling.count, 1.0 / sampling.count))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_layouts_err_as_the_document_says(layout: str) -> None:
    row = next(row for row in checked_rows("layouts") if row[0] == layout)
    plan = LAYOUTS[layout]
    sampling = points_of_plan(plan)
    found = fields(SMOOTH_KINDS, 25, seed=2031, shape=plan.shape, aspect=sampling.aspect)
    velocity = np.array([field.at(sampling.xi, sampling.eta) / field.mean for field in found])
    by_rule = 100.0 * (velocity.mean(axis=1) - 1.0)
    developed = by_rule[[field.kind == "developed" for field in found]]
    estimate = estimate_mean(velocity, sampling)
    spatial = spatial_uncertainty(velocity, sampling, estimate, rule=plan.rule)
    half = student_factor(np.array(spatial.degrees_of_freedom)) * spatial.relative
    best = 100.0 * (estimate.velocity_m_s - 1.0)
    flat = 100.0 * (velocity.mean(axis=1) * _flat_factor(sampling) - 1.0)
    for cell, value in zip(
        row[1:],
        (
            developed.mean(),
            np.sqrt(np.mean(by_rule**2)),
            np.sqrt(np.mean(flat**2)),
            np.sqrt(np.mean(best**2)),
            100.0 * half.mean(),
            100.0 * np.mean(np.abs(best) <= 100.0 * half),
        ),
        strict=True,
    ):
        assert_printed(cell, float(value), layout)


# ---- The worked examples.


def _given(column: int) -> dict[str, tuple[str, str]]:
    """What an example states: key -> value and unit; what it doesn't state is left out."""
    return {row[0]: (row[column], row[3]) for row in checked_rows("example-inputs") if row[column]}


def _si(given: dict[str, tuple[str, str]], key: str, dimension: Dimension) -> float:
    value, unit = given[key]
    return to_si(printed(value)[0], unit, dimension)


def _pressure(given: dict[str, tuple[str, str]]) -> tuple[float, float]:
    """The pressure of an example and its uncertainty, as the service takes them, Pa."""
    if "barometer" in given:
        pressure_pa = _si(given, "barometer", BAROMETRIC_PRESSURE)
        return pressure_pa, BAROMETER_RELATIVE_U * pressure_pa
    pressure_pa = float(pressure_from_elevation_pa(_si(given, "elevation", ELEVATION)))
    return pressure_pa, ELEVATION_RELATIVE_U * pressure_pa


def _example(column: int) -> Evaluation:
    """Evaluate an example as the document states it, with the doubts of the service."""
    given = _given(column)
    readings = [
        to_si(float(cell), "ft/min", VELOCITY)
        for line in zip(*[row[1:] for row in checked_rows("readings")], strict=True)
        for cell in line
    ]
    pressure_pa, pressure_u_pa = _pressure(given)
    compensates = given["compensates"][0]
    return evaluate(
        TraverseBatch(
            plan=RECTANGLE_5,
            readings=np.array([readings]),
            instruments=instruments(
                principle=given["principle"][0],
                shows="actual_velocity",
                compensates_temperature="temperature" in compensates,
                compensates_pressure="pressure" in compensates,
                compensates_humidity="humidity" in compensates,
            ),
            direction_response=np.asarray(COSINE, dtype=np.int8),
            accuracy_relative=np.asarray(printed(given["accuracy"][0])[0] / 100.0),
            resolution_m_s=np.asarray(_si(given, "resolution", VELOCITY)),
            width_m=np.asarray(_si(given, "width", LENGTH)),
            height_m=np.asarray(_si(given, "height", LENGTH)),
            dry_bulb_c=np.asarray(_si(given, "dry bulb", TEMPERATURE)),
            relative_humidity=np.asarray(printed(given["relative humidity"][0])[0] / 100.0),
            pressure_pa=np.asarray(pressure_pa),
            dry_bulb_u_c=np.asarray(DRY_BULB_U_C),
            relative_humidity_u=np.asarray(HUMIDITY_U),
            pressure_u_pa=np.asarray(pressure_u_pa),
            capacity_w=np.asarray(_si(given, "capacity", CAPACITY)),
            target_low=np.asarray(_si(given, "target low", FLOW_PER_CAPACITY)),
            target_high=np.asarray(_si(given, "target high", FLOW_PER_CAPACITY)),
        )
    )


@cache
def sea_level() -> Evaluation:
    """The first example."""
    return _example(1)


@cache
def mountain() -> Evaluation:
    """The second one: the same readings at 1,600 m."""
    return _example(2)


def _results(result: Evaluation) -> dict[str, float]:
    """Every number of an example by the words of the document."""
    found: dict[str, float] = {
        "air density": float(result.air_density_kg_m3[0]),
        "inside area": float(result.inside_area_m2[0] / 0.3048**2),
        "hydraulic diameter": float(result.hydraulic_diameter_m[0]),
        "mean of the display": from_si(float(result.velocity_indicated_m_s[0]), "ft/min", VELOCITY),
        "probability low": 100.0 * float(result.conformity.probability_low[0]),
        "probability in range": 100.0 * float(result.conformity.probability_in_range[0]),
        "probability high": 100.0 * float(result.conformity.probability_high[0]),
    }
    for words, flows in (("rule", result.by_rule), ("best", result.best_estimate)):
        for quantity, value, unit, dimension in (
            ("velocity", flows.velocity_mean_m_s, "ft/min", VELOCITY),
            ("actual flow", flows.actual_m3_s, "ft3/min", FLOW),
            ("standard flow", flows.standard_m3_s, "ft3/min", FLOW),
            ("mass flow", flows.mass_kg_s, "lb/h", MASS_FLOW),
            ("flow per ton", flows.per_capacity_m3_s_per_w, "(ft3/min)/ton", FLOW_PER_CAPACITY),
        ):
            found[f"{words}: {quantity}"] = from_si(float(value[0]), unit, dimension)
    for words, budget in (("actual", result.budget_actual), ("standard", result.budget_standard)):
        found |= {
            f"{words}: u": 100.0 * float(budget.relative_u[0]),
            f"{words}: degrees of freedom": float(budget.degrees_of_freedom[0]),
            f"{words}: coverage factor": float(budget.coverage_factor[0]),
            f"{words}: U95": 100.0 * float(budget.relative_u95[0]),
        }
    per_ton = {
        "low end, per ton": result.interval_per_capacity.low,
        "high end, per ton": result.interval_per_capacity.high,
        "guard band, per ton": result.conformity.guard_band,
        "accepted from, per ton": result.conformity.accepted_low,
        "accepted to, per ton": result.conformity.accepted_high,
    }
    return found | {
        words: from_si(float(value[0]), "(ft3/min)/ton", FLOW_PER_CAPACITY)
        for words, value in per_ton.items()
    }


def test_the_numbers_of_the_examples_are_the_codes() -> None:
    results = [_results(sea_level()), _results(mountain())]
    for what, *cells, _ in checked_rows("example-results"):
        for cell, values in zip(cells, results, strict=True):
            assert_printed(cell, values[what], what)


def test_the_steps_of_the_examples_are_the_codes() -> None:
    rows = checked_rows("example-steps")
    for example, column in ((sea_level(), 1), (mountain(), 3)):
        steps = {correction.step: correction for correction in example.corrections}
        assert [row[0] for row in rows] == list(steps)
        for step, *cells in rows:
            factor, after = cells[column - 1 : column + 1]
            assert_printed(factor, float(steps[step].factor[0]), step)
            velocity = float(steps[step].velocity_after_m_s[0])
            assert_printed(after, from_si(velocity, "ft/min", VELOCITY), step)


def test_the_budgets_of_the_examples_are_the_codes() -> None:
    rows = {row[0]: row[1:] for row in checked_rows("example-budget")}
    budgets = [
        budget
        for example in (sea_level(), mountain())
        for budget in (example.budget_actual, example.budget_standard)
    ]
    assert set(rows) == {
        name for name in COMPONENT_NAMES if any(one.component(name)[0] > 0.0 for one in budgets)
    }
    for name, cells in rows.items():
        for cell, budget in zip(cells, budgets, strict=True):
            assert_printed(cell, 100.0 * float(budget.component(name)[0]), name)


def test_the_verdicts_of_the_examples_are_the_codes() -> None:
    assert VERDICTS[sea_level().conformity.verdict[0]] == "high"
    assert not sea_level().basis_decides[0]
    conformity = mountain().conformity
    assert (VERDICTS[conformity.verdict[0]], VERDICTS[conformity.leaning[0]]) == (
        "undecided",
        "low",
    )
    assert mountain().basis_decides[0]


def test_the_sentence_of_the_example_is_the_codes() -> None:
    narrowing = sea_level().narrowing
    sentence = narrowing_sentence(
        component=int(narrowing.component[0]),
        share=float(narrowing.share[0]),
        relative_u95=float(sea_level().budget_judged.relative_u95[0]),
        relative_u95_after=float(narrowing.relative_u95_after[0]),
    )
    quoted = " ".join(line[2:] for line in text().splitlines() if line.startswith("> "))
    assert sentence in quoted


METERS: dict[str, dict[str, Any]] = {
    "thermal, actual velocity, compensates nothing": {"principle": "thermal", "compensates": ""},
    "thermal, actual velocity, temperature only": {"principle": "thermal", "compensates": "t"},
    "thermal, actual velocity, all three": {"principle": "thermal", "compensates": "tph"},
    "thermal, standard velocity": {
        "principle": "thermal",
        "shows": "standard_velocity",
        "compensates": "t",
    },
    "thermal, nothing known": {"principle": "thermal", "shows": "unknown", "compensates": None},
    "pitot, velocity display, compensates nothing": {"principle": "pitot", "compensates": ""},
    "pitot, velocity pressure": {"principle": "pitot", "compensates": "", "pressure": True},
    "vane": {"principle": "vane", "compensates": ""},
}


def test_the_factors_of_other_meters_are_the_codes() -> None:
    given = _given(2)
    dry_bulb_c = _si(given, "dry bulb", TEMPERATURE)
    air = air_state(
        dry_bulb_c=dry_bulb_c,
        pressure_pa=_pressure(given)[0],
        vapour_pressure_pa=vapour_pressure_from_relative_humidity_pa(
            relative_humidity=printed(given["relative humidity"][0])[0] / 100.0,
            dry_bulb_c=dry_bulb_c,
        ),
    )
    rows = checked_rows("mountain-meters")
    assert [row[0] for row in rows] == list(METERS)
    for meter, central, doubt in rows:
        told = METERS[meter]
        knows = told["compensates"]
        factor = density_factor(
            instruments(
                principle=told["principle"],
                shows=told.get("shows", "actual_velocity"),
                compensates_temperature=None if knows is None else "t" in knows,
                compensates_pressure=None if knows is None else "p" in knows,
                compensates_humidity=None if knows is None else "h" in knows,
            ),
            air,
            is_velocity_pressure=told.get("pressure", False),
        )
        assert_printed(central, float(factor.central), meter)
        assert_printed(doubt, 100.0 * float(factor.relative_standard_uncertainty), meter)
