"""The Celery application: messages wake the worker, the database says what is to be done."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("duct_flow_record")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["airflow_jobs", "airflow_jobs.office", "dashboards"])
