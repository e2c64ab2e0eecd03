"""What the example client works out for itself: how long it waits, and what it tells people."""

from __future__ import annotations

from examples.field_client import words
from examples.field_client.service import LONGEST_PAUSE_S, pause_s

RESULT = {
    "state": "computed",
    "verdict": "undecided",
    "leaning": "in_range",
    "probability": {"low": 0.13, "in_range": 0.87, "high": 0.0},
    "best_estimate": {"flow_per_capacity": {"value": 361.46, "unit": "(ft3/min)/ton"}},
    "interval95": {
        "flow_per_capacity": {
            "low": {"value": 341.2, "unit": "(ft3/min)/ton"},
            "high": {"value": 381.7, "unit": "(ft3/min)/ton"},
        }
    },
    "findings": [],
}


def test_results_are_put_in_words_whatever_their_state() -> None:
    assert words.of_result({"state": "pending", "previous": None}).startswith("Being computed")
    failed = words.of_result({"state": "failed", "reason": "The lines cross.", "previous": None})
    assert failed == "It could not be computed: The lines cross."
    undecided = words.of_result(RESULT)
    assert "Too close to call, probably in range (87 %)" in undecided
    assert "361 (ft3/min)/ton (95 %: 341 to 382)" in undecided
    chances = {"low": 0.0, "in_range": 0.98, "high": 0.02}
    open_basis = words.of_result({**RESULT, "probability": chances})
    assert "The target's basis decides; as it stands in range (98 %)" in open_basis
    again = words.of_result({"state": "pending", "previous": RESULT})
    assert again == f"Being computed again. Until then:\n{undecided}"


def test_waits_double_up_to_a_minute_and_differ_by_chance() -> None:
    for failures in range(1, 40):
        whole = min(LONGEST_PAUSE_S, 2.0 ** (failures - 1))
        waits = {pause_s(failures) for _ in range(50)}
        assert len(waits) > 1
        assert all(whole / 2 <= wait <= whole for wait in waits)
