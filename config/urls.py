"""Which address leads where."""

from django.contrib import admin
from django.urls import include, path

from airflow_jobs.office.urls import sign_in_urlpatterns

from . import checks  # noqa: F401  # registers the deployment checks
from .health import health

urlpatterns = [
    path("healthz", health, name="health"),
    path("api/", include("airflow_jobs.api.urls")),
    *sign_in_urlpatterns,
    path("administration/", admin.site.urls),
    path("office/", include("airflow_jobs.office.urls")),
    path("reports/", include("airflow_jobs.office.customer_urls")),
    path("", include("dashboards.urls")),
]
