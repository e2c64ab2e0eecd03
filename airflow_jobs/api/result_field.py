"""The `result` of a traverse or a flow-set in answers."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from airflow_jobs.models import Computation

from .results import render_result


class ResultField(serializers.Field[Any, Any, Any, Any]):
    """What a measurement means, whatever the state of its computation."""

    def get_attribute(self, instance: Any) -> Any:
        """Take the computation; a row without one is still to be put on the list."""
        try:
            return instance.computation
        except Computation.DoesNotExist:
            return _MISSING

    def to_representation(self, value: Any) -> dict[str, Any]:
        """Answer it in the units that were asked for."""
        computation = None if value is _MISSING else value
        return render_result(computation, self.context["units"])


_MISSING = object()
