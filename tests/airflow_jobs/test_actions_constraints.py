"""What the database refuses is said in words, whichever rule it is."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from airflow_jobs.actions.constraints import (
    broken_constraint,
    in_words,
    named_constraints,
    violated_constraint,
)
from airflow_jobs.models import DuctSection, Instrument
from tests import factories

# Rules that the service itself keeps, whatever is sent: no request can break them.
INTERNAL = {
    "computation_of_one_thing",
    "computation_computed_has_result",
    "result_once_for_its_inputs",
    "token_of_person_or_crew",
    "traverse_revision_number_once",
}


@pytest.mark.parametrize("name", sorted(set(named_constraints()) - INTERNAL))
def test_every_named_constraint_has_a_place_a_code_and_words(name: str) -> None:
    rule = in_words(name)
    assert rule.code != "refused", name
    assert rule.message.endswith(".")
    assert rule.pointer == "" or rule.pointer.startswith("/")
    assert not rule.pointer.endswith(("_m3_s", "_pa", "_m_s", "_kg_m3", "_m", "_w")), rule.pointer


@pytest.mark.parametrize(
    ("name", "pointer", "code"),
    [
        ("equipment_nominal_capacity_w_positive", "/nominal_capacity", "out_of_range"),
        ("duct_section_straight_upstream_m_not_negative", "/straight_upstream", "out_of_range"),
        ("duct_section_lines_positive", "/lines", "out_of_range"),
        ("instrument_accuracy_absolute_m_s_not_negative", "/accuracy/absolute", "out_of_range"),
        ("instrument_range_low_m_s_not_negative", "/range/low", "out_of_range"),
        ("company_default_low_m3_s_per_w_positive", "/default_target/low", "out_of_range"),
        ("flow_reading_flow_m3_s_positive", "/flow", "out_of_range"),
        ("duct_section_air_path_known", "/air_path", "invalid_choice"),
        ("traverse_call_known", "/operating_state/call", "invalid_choice"),
        ("target_design_flow_m3_s_positive", "/design_flow", "out_of_range"),
    ],
)
def test_a_constraint_points_at_the_field_of_the_api(name: str, pointer: str, code: str) -> None:
    rule = in_words(name)
    assert (rule.pointer, rule.code) == (pointer, code)


def test_a_refusal_of_the_real_database_is_translated(db: None) -> None:
    instrument = factories.make_instrument()
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        factories.make_instrument(serial=instrument.serial.upper())
    assert violated_constraint(refused.value) == "instrument_serial_once"
    assert broken_constraint(refused.value).errors[0].pointer == "/serial"
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        DuctSection.objects.filter(pk=factories.make_section().pk).update(lining_thickness_m=1)
    assert broken_constraint(refused.value).errors[0].pointer == "/lining_thickness"
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        Instrument.objects.update(principle="sonic")
    assert broken_constraint(refused.value).errors[0].code == "invalid_choice"
