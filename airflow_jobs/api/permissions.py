"""Whether a caller may come in at all; the rules themselves stand in `actions.access`."""

from __future__ import annotations

from typing import Any

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from airflow_jobs.actions import access
from airflow_jobs.actions.access import Actor


class MayUseTheApi(BasePermission):
    """A caller with a good token whose role may read or write what the view is about."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """Ask `access` about the view's model; who is nobody is refused."""
        actor = request.user
        if not isinstance(actor, Actor):
            return False
        model = getattr(view, "model", None)
        if model is not None and request.method != "OPTIONS":
            ask = access.require_read if _only_reads(request, view) else access.require_write
            ask(actor, model)
        return True


def _only_reads(request: Request, view: Any) -> bool:
    return request.method in SAFE_METHODS or getattr(view, "action", None) in (None, "preview")


class Anybody(BasePermission):
    """Open to callers without a token: sign-in and the documents."""
