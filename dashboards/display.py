"""Numbers as the pages write them, which is as everything that people read has them."""

from airflow_jobs.display import (
    MINUS,
    Shown,
    Units,
    decimals_for,
    label,
    month_or_quarter,
    percent,
    unbroken,
    write,
    write_significant,
)

__all__ = [
    "MINUS",
    "Shown",
    "Units",
    "decimals_for",
    "label",
    "month_or_quarter",
    "percent",
    "unbroken",
    "write",
    "write_significant",
]
