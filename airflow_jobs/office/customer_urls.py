"""Addresses that a customer opens without a sign-in."""

from __future__ import annotations

from django.urls import path

from .customer_report import customer_report, customer_report_file

urlpatterns = [
    path("<str:secret>/", customer_report, name="customer-report"),
    path("<str:secret>/report.pdf", customer_report_file, name="customer-report-file"),
]
