"""The main job through every real part: PostgreSQL, web server, worker process, HTTP."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from typing import Any

import pytest

from airflow_jobs.calc.air import moist_air_density_kg_m3
from tests.service_parts import (
    Api,
    Parts,
    add_meter,
    add_place,
    content,
    running_without_worker,
    wait_for,
)


@pytest.fixture(scope="module")
def parts() -> Iterator[Parts]:
    """PostgreSQL and the web server, without a worker."""
    with running_without_worker("main-job") as service:
        yield service


@pytest.fixture(scope="module")
def api(parts: Parts) -> Iterator[Api]:
    client = Api(parts.port)
    yield client
    client.http.close()


def test_without_a_worker_a_traverse_is_kept_and_computed_when_one_comes(
    parts: Parts, api: Api
) -> None:
    visit, section = add_place(api)
    meter = add_meter(api, "vane")
    body = content(visit, section, meter)
    sent = api.http.post("/traverses/", json=body)
    assert sent.status_code == 201, sent.text
    assert sent.json()["result"]["state"] == "pending"
    time.sleep(1.0)
    assert api.result(body["id"])["state"] == "pending"
    worker = parts.start_worker()
    assert api.computed(body["id"])["verdict"] == "high"

    # A worker killed between the post and its result: the next one computes it.
    os.killpg(worker.pid, signal.SIGSTOP)
    second = content(visit, section, meter, reading=400.0)
    assert api.http.post("/traverses/", json=second).status_code == 201
    time.sleep(0.5)
    parts.kill(worker)
    assert api.result(second["id"])["state"] == "pending"
    parts.start_worker()
    assert api.computed(second["id"])["state"] == "computed"


@pytest.fixture(scope="module")
def with_worker(parts: Parts, api: Api) -> Api:
    """The service with a worker of its own."""
    parts.start_worker()
    return api


def test_the_common_example_comes_out_over_http(with_worker: Api) -> None:
    # Common practice: 18 x 24 in is 3.00 ft2; 574 ft/min on it is 1722 ft3/min.
    api = with_worker
    visit, section = add_place(api)
    body = content(visit, section, add_meter(api, "vane"))
    assert api.http.post("/traverses/", json=body).status_code == 201
    result = api.computed(body["id"])
    assert result["inside_area"]["value"] == pytest.approx(0.27871, abs=5e-6)
    answer = api.http.get(f"/traverses/{body['id']}/", params={"units": "ip"}).json()["result"]
    assert answer["inside_area"] == {"value": pytest.approx(3.0, rel=1e-9), "unit": "ft2"}
    assert answer["flow_actual"] == {"value": pytest.approx(1722.0, rel=5e-4), "unit": "ft3/min"}
    assert answer["flow_per_capacity"] == {
        "value": pytest.approx(573.1, abs=0.3),
        "unit": "(ft3/min)/ton",
    }
    per_ton_actual = answer["flow_actual"]["value"] / 3
    assert per_ton_actual == pytest.approx(574.0, rel=5e-4)
    assert answer["verdict"] == "high"
    assert answer["probability"]["in_range"] < 0.05
    interval = answer["interval95"]["flow_actual"]
    best = answer["best_estimate"]["flow_actual"]["value"]
    assert interval["low"]["value"] < best < interval["high"]["value"]

    # On the actual basis, by the maker's word.
    equipment = api.http.get(f"/duct-sections/{section}/").json()["equipment"]
    per_ton = "(ft3/min)/ton"
    api.add(
        "targets",
        equipment=equipment,
        call="cooling",
        low={"value": 350, "unit": per_ton},
        nominal={"value": 400, "unit": per_ton},
        high={"value": 450, "unit": per_ton},
        basis="actual",
        source="maker",
    )
    assert api.result(body["id"])["state"] in ("pending", "computed")

    def on_actual_basis() -> bool:
        again = api.computed(body["id"])
        return bool(again["target"]["basis"] == "actual")

    wait_for(on_actual_basis, "the result on the new target's basis")
    answer = api.http.get(f"/traverses/{body['id']}/", params={"units": "ip"}).json()["result"]
    assert answer["flow_per_capacity"]["value"] == pytest.approx(574.0, rel=5e-4)


# The mountain case: 13 degC, 40 % RH, 1,600 m. Pressure by the handbook's formula (ASHRAE Handbook
# Fundamentals 2017, chapter 1, Eq. 3), densities by ours, which is held against a real-gas
# library elsewhere; the law of each sensor as written out here by hand.
PRESSURE_PA = 101325.0 * (1.0 - 2.25577e-5 * 1600.0) ** 5.25588
DENSITY = float(
    moist_air_density_kg_m3(dry_bulb_c=13.0, relative_humidity=0.4, pressure_pa=PRESSURE_PA)
)
REFERENCE = float(
    moist_air_density_kg_m3(
        dry_bulb_c=190.0 / 9.0, relative_humidity=0.0, pressure_pa=29.921 * 3386.38864
    )
)
TEMPERATURE_ONLY = float(
    moist_air_density_kg_m3(dry_bulb_c=13.0, relative_humidity=0.0, pressure_pa=29.921 * 3386.38864)
)
INDICATED_M_S = 574 * 0.00508
# A velocity pressure that a meter with the reference density would show as 574 ft/min.
DIFFERENCE_PA = 0.5 * REFERENCE * INDICATED_M_S**2


@pytest.mark.parametrize(
    ("meter", "reading", "unit", "factor"),
    [
        pytest.param(
            {
                "principle": "thermal",
                "compensates": {"temperature": True, "pressure": False, "humidity": False},
            },
            574.0,
            "ft/min",
            TEMPERATURE_ONLY / DENSITY,
            id="thermal, actual velocity, temperature only",
        ),
        pytest.param(
            {
                "principle": "thermal",
                "shows": "standard_velocity",
                "compensates": {"temperature": True, "pressure": False, "humidity": False},
            },
            574.0,
            "ft/min",
            REFERENCE / DENSITY,
            id="thermal, standard velocity",
        ),
        pytest.param(
            {"principle": "pitot"},
            574.0,
            "ft/min",
            (REFERENCE / DENSITY) ** 0.5,
            id="pitot, velocity display, compensates nothing",
        ),
        pytest.param(
            {"principle": "pitot"},
            DIFFERENCE_PA,
            "Pa",
            (REFERENCE / DENSITY) ** 0.5,
            id="pitot, velocity pressure",
        ),
        pytest.param({"principle": "vane"}, 574.0, "ft/min", 1.0, id="vane"),
    ],
)
def test_each_principle_on_a_mountain_gives_the_velocity_that_it_stands_for(
    with_worker: Api, meter: dict[str, Any], reading: float, unit: str, factor: float
) -> None:
    api = with_worker
    visit, section = add_place(api, elevation={"value": 1600, "unit": "m"})
    body = content(
        visit,
        section,
        add_meter(api, **meter),
        reading=reading,
        unit=unit,
        conditions={
            "dry_bulb": {"value": 13, "unit": "degC"},
            "relative_humidity": {"value": 40, "unit": "%"},
        },
    )
    assert api.http.post("/traverses/", json=body).status_code == 201
    result = api.computed(body["id"])
    assert result["air_density"]["value"] == pytest.approx(DENSITY, rel=1e-4)
    velocity = INDICATED_M_S * factor
    assert result["velocity_mean"]["value"] == pytest.approx(velocity, rel=1e-3)
    actual = result["flow_actual"]["value"]
    assert actual == pytest.approx(velocity * 18 * 24 * 0.0254**2, rel=1e-3)
    assert result["flow_standard"]["value"] == pytest.approx(
        actual * DENSITY / (0.075 * 0.45359237 / 0.3048**3), rel=1e-3
    )
