"""Broken rules, and the database's refusals in words: constraint -> field, code, message."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.apps import apps
from django.db import IntegrityError, models


@dataclass(frozen=True, slots=True)
class BrokenRule:
    """One thing that is not acceptable, where it stands (RFC 6901), and how to mend it."""

    pointer: str
    code: str
    message: str


class RulesBroken(Exception):
    """Well-formed, but not acceptable; carries every broken rule."""

    def __init__(self, errors: Sequence[BrokenRule]) -> None:
        self.errors = list(errors)
        super().__init__("; ".join(f"{error.pointer}: {error.message}" for error in errors))

    def below(self, pointer: str) -> RulesBroken:
        """Return the same with all pointers below another one."""
        return RulesBroken(
            [
                BrokenRule(f"{pointer}{item.pointer}", item.code, item.message)
                for item in self.errors
            ]
        )


# Those that say more than "must be above zero" or "must be one of".
_IN_WORDS: Final[dict[str, tuple[str, str, str]]] = {
    "computation_settled_once": (
        "",
        "taken",
        "Another result was settled at that very instant; nothing was changed. Try again.",
    ),
    "digest_subscription_week_begins_on_monday": (
        "/sent_week_on",
        "invalid",
        "The week of a digest is named by its Monday.",
    ),
    "company_only_one": ("", "taken", "There is one company; change it, don't add another."),
    "company_standard_density_possible": (
        "/standard_density",
        "out_of_range",
        "Standard density must lie between 0.5 and 2 kg/m3.",
    ),
    "company_default_target_ordered": (
        "/default_target",
        "not_ordered",
        "The default target must rise from low over nominal to high.",
    ),
    "company_measure_every_months_possible": (
        "/measure_every_months",
        "out_of_range",
        "Between two measurements lie 1 to 120 months.",
    ),
    "site_elevation_on_earth": (
        "/elevation",
        "out_of_range",
        "Elevation must lie between -500 m and 9,000 m.",
    ),
    "site_climate_known": ("/climate", "invalid_choice", "Climate is humid, mixed or dry."),
    "site_time_zone_given": ("/time_zone", "required", "A site needs its time zone."),
    "equipment_tag_once_in_site": (
        "/tag",
        "taken",
        "Another system of this site has this tag (letter case doesn't count); give another.",
    ),
    "target_range_or_design_flow": (
        "",
        "one_of_two",
        "Give either low, nominal and high (flow per capacity), or design_flow with "
        "design_tolerance; not both, and neither by halves.",
    ),
    "target_range_ordered": (
        "/low",
        "not_ordered",
        "A target's low must be under its high, and its nominal between them.",
    ),
    "target_tolerance_possible": (
        "/design_tolerance",
        "out_of_range",
        "The tolerance of a design flow must be above 0 and under 100 %.",
    ),
    "duct_section_shape_has_its_sizes": (
        "/shape",
        "sizes_do_not_fit_shape",
        "A round section has a diameter and log_linear or equal_annuli; a rectangular or "
        "flat_oval one has width and height and log_tchebycheff or equal_area.",
    ),
    "duct_section_oval_lies_flat": (
        "/width",
        "not_ordered",
        "A flat oval's width must be at least its height.",
    ),
    "duct_section_lining_leaves_an_inside": (
        "/lining_thickness",
        "out_of_range",
        "The lining is taken off at each wall: it must be under half of each size.",
    ),
    "instrument_serial_once": (
        "/serial",
        "taken",
        "Another instrument has this serial (letter case doesn't count).",
    ),
    "instrument_accuracy_relative_possible": (
        "/accuracy/relative",
        "out_of_range",
        "A relative accuracy must lie between 0 and 100 %.",
    ),
    "instrument_range_ordered": (
        "/range",
        "not_ordered",
        "The range's low end must be under its high end.",
    ),
    "instrument_reference_pressure_possible": (
        "/reference/pressure",
        "out_of_range",
        "The reference pressure must lie between 20 and 120 kPa.",
    ),
    "instrument_reference_dry_bulb_possible": (
        "/reference/dry_bulb",
        "out_of_range",
        "The reference temperature must lie between -60 and 100 degC.",
    ),
    "calibration_dates_ordered": (
        "/due_on",
        "not_ordered",
        "A calibration is due on or after the day it was performed.",
    ),
    "calibration_found_possible": (
        "/as_found",
        "out_of_range",
        "As found has a gain between 0.5 and 2 and an offset within 5 m/s, both or neither.",
    ),
    "calibration_corrects_before_it_was_performed": (
        "/corrects_from",
        "not_ordered",
        "A calibration corrects readings from a day before it was performed.",
    ),
    "calibration_corrects_for_a_reason": (
        "/corrects_because",
        "required",
        "To correct earlier readings, say from which day and why; else leave corrects_from, "
        "corrects_wholly and corrects_because out.",
    ),
    "calibration_gain_possible": (
        "/gain",
        "out_of_range",
        "A gain must lie between 0.5 and 2.",
    ),
    "calibration_offset_possible": (
        "/offset",
        "out_of_range",
        "An offset must lie between -5 and 5 m/s.",
    ),
    "calibration_accuracy_relative_possible": (
        "/accuracy/relative",
        "out_of_range",
        "A relative accuracy must lie between 0 and 100 %.",
    ),
    "crew_name_once": (
        "/name",
        "taken",
        "Another crew has this name (letter case doesn't count); give another.",
    ),
    "crew_membership_once": (
        "/members",
        "duplicate",
        "A person joins a crew once on the same day.",
    ),
    "crew_membership_dates_ordered": (
        "/members",
        "not_ordered",
        "A member leaves on or after the day of joining.",
    ),
    "airflow_jobs_person_username_key": (
        "/username",
        "taken",
        "Another person has this user name; give another.",
    ),
    "person_username_once": (
        "/username",
        "taken",
        "Another person has this user name (letter case doesn't count); give another.",
    ),
    "person_username_plain": (
        "/username",
        "invalid",
        "A user name has letters, digits and @ . + - _ only.",
    ),
    "visit_ends_after_it_starts": (
        "/finished_at",
        "not_ordered",
        "A visit finishes at or after its start.",
    ),
    "temperature_rise_one_heat": (
        "/electric_power",
        "one_of_two",
        "Give either electric_power, or heat_input with its efficiency.",
    ),
    "temperature_rise_efficiency_possible": (
        "/efficiency",
        "out_of_range",
        "An efficiency must be above 0 and at most 100 %.",
    ),
    "flow_reading_uncertainty_possible": (
        "/relative_uncertainty",
        "out_of_range",
        "A relative uncertainty must be above 0 and under 100 %.",
    ),
    "flow_set_member_traverse_once": (
        "/members",
        "duplicate",
        "A traverse counts once in a flow-set.",
    ),
    "flow_set_member_reading_once": (
        "/members",
        "duplicate",
        "A flow reading counts once in a flow-set.",
    ),
    "flow_set_member_is_one_thing": (
        "/members",
        "one_of_two",
        "A member is either a traverse or a flow_reading.",
    ),
    "flow_set_member_sign_known": (
        "/members",
        "invalid_choice",
        "A member's sign is 1 (added) or -1 (taken away).",
    ),
    "traverse_humidity_possible": (
        "/conditions/relative_humidity",
        "out_of_range",
        "Relative humidity must lie between 0 and 100 %.",
    ),
    "traverse_barometric_pressure_possible": (
        "/conditions/barometric_pressure",
        "out_of_range",
        "An absolute pressure must be above zero.",
    ),
    "traverse_dry_bulb_possible": (
        "/conditions/dry_bulb",
        "out_of_range",
        "A temperature must be above absolute zero and under 1,000 degC.",
    ),
    "traverse_call_known": (
        "/operating_state/call",
        "invalid_choice",
        "The call is cooling, heating, fan_only, dehumidify or unknown.",
    ),
    "traverse_repeats_another": (
        "/repeats",
        "invalid",
        "A traverse can't repeat itself.",
    ),
}

# Columns whose name at the edge isn't the column's without its unit.
_POINTERS: Final[dict[str, str]] = {
    "accuracy_relative": "/accuracy/relative",
    "accuracy_absolute": "/accuracy/absolute",
    "range_low": "/range/low",
    "range_high": "/range/high",
    "default_low": "/default_target/low",
}
_UNITS: Final = ("_m3_s_per_w", "_m3_s", "_kg_m3", "_m_s", "_m2", "_pa", "_m", "_w", "_s", "_c")


def violated_constraint(error: IntegrityError) -> str:
    """Return the name of the constraint that the database refused a row for."""
    diagnostics = getattr(error.__cause__, "diag", None)
    return str(getattr(diagnostics, "constraint_name", None) or "")


def broken_constraint(error: IntegrityError) -> RulesBroken:
    """Say in words what the database refused."""
    return RulesBroken([in_words(violated_constraint(error))])


def in_words(name: str) -> BrokenRule:
    """Return what a named constraint asks, where, in words."""
    if name in _IN_WORDS:
        return BrokenRule(*_IN_WORDS[name])
    for suffix, code, words in (
        ("_not_negative", "out_of_range", "must not be negative"),
        ("_positive", "out_of_range", "must be above zero"),
        ("_known", "invalid_choice", "is not one of the values that are possible here"),
    ):
        if name.endswith(suffix):
            field = name.removesuffix(suffix)
            for table in sorted(_table_prefixes(), key=len, reverse=True):
                field = field.removeprefix(f"{table}_") if field.startswith(table) else field
            field = _without_unit(field)
            pointer = _POINTERS.get(field, f"/{field}")
            return BrokenRule(pointer, code, f"{field.replace('_', ' ').capitalize()} {words}.")
    return BrokenRule(
        "", "refused", f"The database refused this by its rule {name or '(unnamed)'}."
    )


def named_constraints() -> list[str]:
    """List the names of all constraints of the record's tables."""
    return [
        constraint.name
        for model in apps.get_app_config("airflow_jobs").get_models()
        for constraint in model._meta.constraints
    ]


def _without_unit(field: str) -> str:
    for unit in _UNITS:
        if field.endswith(unit):
            return field.removesuffix(unit)
    return field


def _table_prefixes() -> set[str]:
    models_of_record: list[type[models.Model]] = list(
        apps.get_app_config("airflow_jobs").get_models()
    )
    return {str(model._meta.verbose_name).replace(" ", "_") for model in models_of_record}
