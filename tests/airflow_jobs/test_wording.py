"""Numbers inside sentences: readers of either unit system find their own."""

from __future__ import annotations

import pytest

from airflow_jobs import wording
from airflow_jobs.models.company import PER_TON_M3_S_PER_W


@pytest.mark.parametrize(
    ("said", "text"),
    [
        (wording.in_kilopascals(100_300.0), "100.3 kPa (29.62 inHg)"),
        (wording.in_metres(1274.0), "1,274 m (4,180 ft)"),
        (wording.in_millimetres(0.25), "250 mm (9.84 in)"),
        (wording.in_square_metres(0.27871), "0.2787 m2 (3.00 ft2)"),
        (wording.in_celsius(23.0, 1), "23.0 °C (73.4 °F)"),
        (wording.in_celsius(-20.0), "−20 °C (−4 °F)"),
        (wording.in_metres_per_second(-0.1), "−0.10 m/s (−20 ft/min)"),
        (wording.in_pascals(124.54), "125 Pa (0.50 inH2O)"),
        (wording.in_pascals(149.45, 4.98), "149 ± 5 Pa (0.60 ± 0.02 inH2O)"),
        (wording.per_kilowatt(400.0 * PER_TON_M3_S_PER_W), "54 L/s per kW"),
    ],
)
def test_a_quantity_stands_in_both_unit_systems(said: str, text: str) -> None:
    assert said == text
