"""What a system was doing while it was measured."""

from __future__ import annotations

from typing import Any

from airflow_jobs.models import Call

from .fields import CountField, TextField, WordField
from .records import StrictSerializer

_WORD: dict[str, Any] = {"required": False, "max_length": 100}


class OperatingStateSerializer(StrictSerializer):
    """What the system was asked to do, and in what condition it was; all keys optional."""

    answers_every_key = False

    call = WordField(
        Call, required=False, help_text="What it was asked to do; `unknown` is a finding."
    )
    capacity_step = TextField(**_WORD, help_text="Stage or step, such as full.")
    blower_setting = TextField(**_WORD, help_text="Tap or setting of the blower, such as tap 4.")
    coil = WordField(["wet", "dry"], required=False, help_text="Whether water was on the coil.")
    filter = WordField(
        ["clean", "loaded", "none"], required=False, help_text="The state of the filter."
    )
    outdoor_damper = TextField(**_WORD, help_text="Position of the outdoor-air damper.")
    zones_open = TextField(**_WORD, help_text="Which zones were open.")
    steady_minutes = CountField(
        required=False, minimum=0, maximum=10000, help_text="How long it had run like this, min."
    )

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Take the whole state as it comes; null is the same as absent."""
        if isinstance(data, dict):
            data = {key: item for key, item in data.items() if item is not None}
        return super().to_internal_value(data)

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """Answer the keys that are known."""
        return dict(instance)
