"""What the deployment checks say of an installation."""

from __future__ import annotations

from pathlib import Path

from config.checks import problems_of
from config.env import Environment

KEY = "k3y-" * 5 + "abcdefghijklmnopqrstuvwxyz0123456789"


def problems(folder: Path, **given: str) -> set[str | None]:
    environment = Environment.from_environ({"DATA_DIR": str(folder), "SECRET_KEY": KEY, **given})
    return {problem.id for problem in problems_of(environment)}


def test_an_installation_for_oneself_has_nothing_to_mend(tmp_path: Path) -> None:
    assert problems(tmp_path) == set()


def test_a_public_one_is_told_what_is_missing(tmp_path: Path) -> None:
    assert problems(
        tmp_path,
        SITE_URL="http://airflow.example.com",
        DEBUG="1",
        DATABASE_URL="postgresql://user:pw@db:5432/name",
    ) == {
        "duct_flow_record.E001",
        "duct_flow_record.W001",
        "duct_flow_record.W002",
        "duct_flow_record.W003",
    }


def test_a_complete_one_has_nothing_to_mend(tmp_path: Path) -> None:
    assert (
        problems(
            tmp_path,
            SITE_URL="https://airflow.example.com",
            DATABASE_URL="postgresql://user:pw@db:5432/name",
            CACHE_URL="redis://cache:6379/1",
            EMAIL_URL="smtp+starttls://user:pw@mail.example.com:587",
        )
        == set()
    )
