"""Answers: JSON in UTF-8."""

from __future__ import annotations

from rest_framework.renderers import JSONRenderer


class PlainJSONRenderer(JSONRenderer):
    """Compact JSON; there is no other representation."""

    charset = None
