"""The OpenAPI document."""

from __future__ import annotations

from drf_spectacular.openapi import AutoSchema


class RecordSchema(AutoSchema):
    """Describes what the views can't say themselves."""
