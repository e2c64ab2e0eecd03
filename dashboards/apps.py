"""The Django application of the reading side."""

from django.apps import AppConfig


class DashboardsConfig(AppConfig):
    """Names the application; nothing happens at import."""

    name = "dashboards"
    verbose_name = "Dashboards"
