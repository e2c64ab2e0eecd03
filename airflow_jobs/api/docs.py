"""The API's document, and a page for reading and trying it that needs no other server."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.http import HttpResponse
from django.urls import path
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer2, OpenApiYamlRenderer2
from drf_spectacular.views import SpectacularSwaggerSplitView
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.request import Request
from rest_framework.views import APIView

from .permissions import Anybody
from .records import METHODS


@lru_cache(maxsize=2)
def document(form: str) -> bytes:
    """Return the document as `yaml` or `json`; it is the same until the program changes."""
    schema = SchemaGenerator().get_schema(request=None, public=True)
    renderer = OpenApiYamlRenderer2() if form == "yaml" else OpenApiJsonRenderer2()
    written: bytes = renderer.render(schema, renderer_context={})
    return written


class AnyForm(BaseContentNegotiation):
    """The address says the form, whatever a caller accepts."""

    def select_parser(self, request: Request, parsers: Iterable[Any]) -> Any:
        """Take the first."""
        return next(iter(parsers))

    def select_renderer(
        self, request: Request, renderers: Iterable[Any], format_suffix: str | None = None
    ) -> Any:
        """Take the first."""
        first = next(iter(renderers))
        return first, first.media_type


class DocumentView(APIView):
    """The OpenAPI document."""

    http_method_names = METHODS
    permission_classes = (Anybody,)
    authentication_classes = ()
    content_negotiation_class = AnyForm
    schema = None

    def get(self, request: Request, form: str) -> HttpResponse:
        """Answer the document."""
        media_type = "application/yaml" if form == "yaml" else "application/json"
        return HttpResponse(document(form), content_type=media_type)


class PageView(SpectacularSwaggerSplitView):
    """The page; its script comes from an address of its own, so that none stands in the page."""

    permission_classes = (Anybody,)
    authentication_classes = ()
    schema = None


# The page's library writes style attributes; nothing else is loosened, and only here.
_page = csp_update({"style-src": [UNSAFE_INLINE]})(PageView.as_view(url_name="api:document"))

urlpatterns = [
    path("openapi.yaml", DocumentView.as_view(), {"form": "yaml"}, name="document"),
    path("openapi.json", DocumentView.as_view(), {"form": "json"}),
    path("docs/", _page, name="docs"),
]
