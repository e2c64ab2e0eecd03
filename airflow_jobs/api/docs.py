"""The API's document and a page for reading and trying it, without any other server."""

from __future__ import annotations

from csp.decorators import csp_update
from django.urls import path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from .permissions import Anybody


class DocumentView(SpectacularAPIView):
    """The OpenAPI document."""

    permission_classes = (Anybody,)
    authentication_classes = ()


class PageView(SpectacularSwaggerSplitView):
    """The page; its script comes from an address of its own, so that none stands in the page."""

    permission_classes = (Anybody,)
    authentication_classes = ()
    url_name = "api:docs"


# The page's library writes style attributes; nothing else is loosened, and only here.
_page = csp_update({"style-src": ["'unsafe-inline'"]})(PageView.as_view(url_name="api:document"))

urlpatterns = [
    path("openapi.yaml", DocumentView.as_view(), name="document"),
    path("schema/", DocumentView.as_view(), name="schema"),
    path("docs/", _page, name="docs"),
]
