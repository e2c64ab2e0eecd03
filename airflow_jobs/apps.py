"""The Django application of the record."""

from django.apps import AppConfig


class AirflowJobsConfig(AppConfig):
    """Names the application; nothing happens at import."""

    name = "airflow_jobs"
    verbose_name = "Airflow record"
    default_auto_field = "django.db.models.BigAutoField"
