"""What is said twice, to containers and to the service, must agree."""

from __future__ import annotations

import re
from typing import Any

import pytest
import yaml
from django.core.management import get_commands

from airflow_jobs import embedded
from config.env import PROJECT_DIRECTORY, Environment, describe

FILES_OWN = {"POSTGRES_PASSWORD", "POSTGRES_USER", "POSTGRES_DB", "POSTGRES_INITDB_ARGS"}
LIBPQS_OWN = {"PGOPTIONS"}
SETTINGS = {setting.name for setting in describe()}


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load(text("docker-compose.yml"))
    return loaded


def text(name: str) -> str:
    return (PROJECT_DIRECTORY / name).read_text()


def ours(compose: dict[str, Any]) -> dict[str, Any]:
    """Services that run this project."""
    return {
        name: service
        for name, service in compose["services"].items()
        if service["image"] == "duct-flow-record"
    }


def filled(value: str, **given: str) -> str:
    """Fill variables in as Compose does."""
    return re.sub(
        r"\$\{(\w+)(?::[-?]([^}]*))?\}", lambda found: given.get(found[1]) or found[2] or "", value
    )


def test_both_databases_have_the_same_major_version(compose: dict[str, Any]) -> None:
    assert compose["services"]["database"]["image"] == f"postgres:{embedded.MAJOR}"


def test_both_databases_sort_alike(compose: dict[str, Any]) -> None:
    arguments = compose["services"]["database"]["environment"]["POSTGRES_INITDB_ARGS"]
    embedded_server = text("airflow_jobs/embedded_server.py")
    assert all(f'"{argument}"' in embedded_server for argument in arguments.split())


def test_every_variable_is_a_setting(compose: dict[str, Any]) -> None:
    for service in ours(compose).values():
        assert set(service["environment"]) <= SETTINGS | LIBPQS_OWN
    asked_of_operator = set(re.findall(r"\$\{(\w+)", text("docker-compose.yml")))
    assert asked_of_operator <= SETTINGS | FILES_OWN


def test_the_service_accepts_what_the_file_gives_it(compose: dict[str, Any]) -> None:
    for service in ours(compose).values():
        environment = {
            name: filled(
                value,
                SECRET_KEY="zX8" + "kQ2vN7mB4cJ1" * 5,
                POSTGRES_PASSWORD="p-_4",
                SITE_URL="https://airflow.example.com",
            )
            for name, value in service["environment"].items()
        }
        read = Environment.from_environ(environment)
        assert read.database is not None
        assert read.database.host in compose["services"]
        assert read.broker_url is not None
        assert read.cache_url is not None


@pytest.mark.parametrize("name", ["SECRET_KEY", "POSTGRES_PASSWORD", "SITE_URL"])
def test_nothing_secret_has_a_default(name: str) -> None:
    uses = re.findall(rf"\$\{{{name}(:.)", text("docker-compose.yml"))
    assert uses
    assert set(uses) == {":?"}


def test_no_key_is_made_into_the_image() -> None:
    dockerfile = text("Dockerfile")
    assert "SECRET_KEY" not in dockerfile
    assert re.search(r"DATA_DIR=(\S+) \S+ manage\.py collectstatic.*\n.*rm -rf \1", dockerfile)


def test_the_image_takes_only_what_the_service_runs_on() -> None:
    lines = [line for line in text(".dockerignore").splitlines() if not line.startswith("#")]
    assert lines[0] == "*"
    taken = {line.removeprefix("!") for line in lines if line.startswith("!")}
    assert all((PROJECT_DIRECTORY / name).exists() for name in taken)
    assert not {"var", ".env", ".git", "tests"} & taken


def test_the_image_is_run_by_an_account_without_rights() -> None:
    final_stage = text("Dockerfile").rpartition("\nFROM ")[2]
    assert re.search(r"^USER (?!root|0)\w+$", final_stage, re.MULTILINE)


def test_the_commands_exist(compose: dict[str, Any]) -> None:
    words = [" ".join(service.get("command", [])) for service in ours(compose).values()]
    named = set(re.findall(r"manage\.py (\w+)", " ".join([*words, text("Dockerfile")])))
    assert {"migrate", "collectstatic", "first_administrator"} <= named
    assert named <= set(get_commands())


def test_the_tables_are_changed_by_one_service_that_the_others_wait_for(
    compose: dict[str, Any],
) -> None:
    services = ours(compose)
    migrating = [
        name
        for name, service in services.items()
        if "manage.py migrate" in " ".join(service.get("command", []))
    ]
    assert migrating == ["migrate"]
    assert "lock_timeout" in services["migrate"]["environment"]["PGOPTIONS"]
    for name in set(services) - {"migrate"}:
        awaited = services[name]["depends_on"]["migrate"]
        assert awaited == {"condition": "service_completed_successfully"}


def test_every_service_that_stays_says_whether_it_is_well(compose: dict[str, Any]) -> None:
    for name, service in compose["services"].items():
        assert name == "migrate" or service["healthcheck"]["test"]


def test_only_this_machine_reaches_the_web_server(compose: dict[str, Any]) -> None:
    ports = {name: service.get("ports", []) for name, service in compose["services"].items()}
    assert ports.pop("web") == ["127.0.0.1:${PORT:-8000}:8000"]
    assert not any(ports.values())


def test_every_volume_is_declared(compose: dict[str, Any]) -> None:
    used = {
        volume.partition(":")[0]
        for service in compose["services"].values()
        for volume in service.get("volumes", [])
    }
    assert used == set(compose["volumes"])
    image = Environment.from_environ({**_image_variables(), "SECRET_KEY": "k9Z" + "abcdefgh" * 6})
    mounted = [volume.partition(":")[2] for volume in ours(compose)["web"]["volumes"]]
    assert str(image.data_directory) in mounted


def _image_variables() -> dict[str, str]:
    lines = re.findall(r"^ENV (.*)$", text("Dockerfile"), re.MULTILINE)
    return dict(pair.split("=", 1) for line in lines for pair in line.split())


def test_no_address_of_a_registry_is_named() -> None:
    for name in ("Dockerfile", "docker-compose.yml"):
        images = re.findall(r"(?:FROM|image:)\s+(\S+)", text(name))
        assert images
        hosts = [image.rpartition("/")[0].partition("/")[0] for image in images]
        assert not [host for host in hosts if "." in host or ":" in host]
