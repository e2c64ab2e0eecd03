"""How the fields of requests and answers are described in the OpenAPI document."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import (
    OpenApiAuthenticationExtension,
    OpenApiSerializerFieldExtension,
)
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent

from airflow_jobs.units import LENGTH, PRESSURE, VELOCITY, Dimension

from .fields import QuantityField
from .openapi_result import result_schema
from .positions import MOST
from .readings import LONGEST_S, MOST_STAMPS

Schema = dict[str, Any]


def quantity_schema(dimension: Dimension) -> Schema:
    """Describe `{"value", "unit"}` of a dimension."""
    return {
        "type": "object",
        "description": f"A {dimension.name}: a number with its unit.",
        "required": ["value", "unit"],
        "additionalProperties": False,
        "properties": {
            "value": {"type": "number", "description": "The number in this unit."},
            "unit": {
                "type": "string",
                "enum": list(dimension.units),
                "description": f"Answers: {dimension.si} (si) or {dimension.ip} (ip).",
            },
        },
    }


def quantity_name(dimension: Dimension) -> str:
    """Name the component of a dimension's quantities."""
    return "".join(word.capitalize() for word in dimension.name.split()) + "Quantity"


def quantity_reference(auto_schema: AutoSchema, dimension: Dimension) -> Schema:
    """Refer to a dimension's quantities, registering their component."""
    component = ResolvedComponent(
        name=quantity_name(dimension),
        type=ResolvedComponent.SCHEMA,
        object=QuantityField(dimension),
        schema=quantity_schema(dimension),
    )
    auto_schema.registry.register_on_missing(component)
    reference: Schema = component.ref
    return reference


class TokenScheme(OpenApiAuthenticationExtension):
    """`Authorization: Bearer <token>`."""

    target_class = "airflow_jobs.api.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> Schema:
        """Describe the scheme."""
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token from POST /api/v1/tokens/ or a field app's token.",
        }


class _Quantity(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.fields.QuantityField"
    match_subclasses = True

    def get_name(self) -> str:
        """One component for each dimension."""
        return quantity_name(self.target.dimension)

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return quantity_schema(self.target.dimension)


class _Number(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.fields.NumberField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return _limited({"type": "number"}, self.target)


class _Count(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.fields.CountField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return _limited({"type": "integer"}, self.target)


def _limited(schema: Schema, field: Any) -> Schema:
    limits = {"minimum": field.minimum, "maximum": field.maximum}
    return schema | {key: value for key, value in limits.items() if value is not None}


class _Flag(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.fields.FlagField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return {"type": "boolean"}


class _Instant(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.fields.InstantField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return {"type": "string", "format": "date-time"}


class _Day(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.fields.DayField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return {"type": "string", "format": "date"}


class _Id(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.fields.IdField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return {"type": "string", "format": "uuid"}


class _Items(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.records.ItemsField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return {
            "type": "array",
            "items": auto_schema.resolve_serializer(self.target.item, direction).ref,
            "minItems": self.target.min_length,
            "maxItems": self.target.max_length,
        }


def _list_of(items: Schema, *, most: int = MOST, **more: Any) -> Schema:
    return {"type": "array", "minItems": 1, "maxItems": most, "items": items, **more}


class _Positions(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.positions.PositionsField"

    def get_name(self) -> str:
        """Name the component."""
        return "Positions"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        number = {"type": "number"}
        return {
            "type": "object",
            "additionalProperties": False,
            "description": "Where holes are and how deep the sensor went; a key that is left out "
            "means as planned.",
            "properties": {
                "unit": {
                    "type": "string",
                    "enum": list(LENGTH.units),
                    "description": "Of lines and depths; needed with them.",
                },
                "lines": _list_of(
                    number,
                    description="Rectangle and oval: distances along the drilled side from the "
                    "inside face where the tape starts, one a line.",
                ),
                "angles": _list_of(
                    number,
                    description="Round: degrees, 0 at the first hole, clockwise facing "
                    "downstream, one a diameter; at least 0 and under 360.",
                ),
                "depths": _list_of(
                    _list_of(number),
                    description="Insertions from the inside face of the wall met there, one list "
                    "a line.",
                ),
            },
        }


class _Readings(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.readings.ReadingsField"

    def get_name(self) -> str:
        """Name the component."""
        return "Readings"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        unit = {
            "type": "string",
            "enum": [*VELOCITY.units, *PRESSURE.units],
            "description": "Of the readings: a velocity, or (pitot only) a velocity pressure.",
        }
        number = {"type": "number", "description": "As indicated, signed: backflow is negative."}
        seconds = {"type": "number", "exclusiveMinimum": 0, "maximum": LONGEST_S}
        gap = quantity_reference(auto_schema, LENGTH)
        sweep = {
            "type": "object",
            "required": ["mean"],
            "additionalProperties": False,
            "properties": {
                "mean": number,
                "seconds": seconds | {"description": "How long the sweep took."},
                "stamps": {
                    "type": "array",
                    "minItems": 2,
                    "maxItems": MOST_STAMPS,
                    "description": "[seconds, depth, velocity] along the sweep.",
                    "items": {
                        "type": "array",
                        "items": {"type": "number"},
                        "minItems": 3,
                        "maxItems": 3,
                    },
                },
            },
        }
        return {
            "description": "By mode: points have values, sweeps have lines, an average its mean.",
            "oneOf": [
                {
                    "type": "object",
                    "title": "points",
                    "required": ["unit", "values"],
                    "additionalProperties": False,
                    "properties": {
                        "unit": unit,
                        "values": _list_of(
                            _list_of({"type": ["number", "null"]}),
                            description="One list a line; null for a point that wasn't taken.",
                        ),
                    },
                },
                {
                    "type": "object",
                    "title": "sweeps",
                    "required": ["unit", "lines"],
                    "additionalProperties": False,
                    "properties": {
                        "unit": unit,
                        "lines": _list_of(sweep, description="One sweep a line."),
                        "near_gap": gap,
                        "far_gap": gap,
                        "depth_unit": {
                            "type": "string",
                            "enum": list(LENGTH.units),
                            "description": "Of depths in stamps; else that of positions.",
                        },
                    },
                },
                {
                    "type": "object",
                    "title": "average",
                    "required": ["unit", "mean"],
                    "additionalProperties": False,
                    "properties": {
                        "unit": unit,
                        "mean": number,
                        "seconds": seconds | {"description": "Over how long."},
                        "lines": {
                            "type": "integer",
                            "minimum": 1,
                            "maximum": MOST,
                            "description": "Over how many lines.",
                        },
                    },
                },
            ],
        }


class _Reasons(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.traverse_body.ReasonsField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        place = {"type": "integer", "minimum": 1, "maximum": MOST}
        return {
            "type": "array",
            "description": "[line, point, text], both counted from 1.",
            "items": {
                "type": "array",
                "prefixItems": [place, place, {"type": "string", "maxLength": 500}],
                "minItems": 3,
                "maxItems": 3,
            },
        }


class _Result(OpenApiSerializerFieldExtension):
    target_class = "airflow_jobs.api.result_field.ResultField"

    def get_name(self) -> str:
        """Name the component."""
        return "Result"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> Schema:
        """Describe the field."""
        return result_schema(lambda dimension: quantity_reference(auto_schema, dimension))
