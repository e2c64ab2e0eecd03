"""The README says what is there, and nothing that isn't."""

from __future__ import annotations

import re
import subprocess

from config.env import PROJECT_DIRECTORY, describe

README = (PROJECT_DIRECTORY / "README.md").read_text("utf-8")


def test_every_setting_stands_in_the_readme_with_its_default() -> None:
    rows = re.findall(r"^\| `([A-Z_]+)` \| (.+?) \| (.+?) \|$", README, re.MULTILINE)
    assert rows == [(item.name, item.default, item.meaning) for item in describe()]


def test_every_file_that_the_readme_links_to_is_there() -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", README):
        assert (PROJECT_DIRECTORY / target).exists(), target


def test_every_make_target_that_the_readme_names_is_there() -> None:
    makefile = (PROJECT_DIRECTORY / "Makefile").read_text("utf-8")
    for target in set(re.findall(r"\bmake ([a-z]+)", README)):
        assert re.search(rf"^{target}:", makefile, re.MULTILINE), target


def test_every_command_that_the_readme_names_is_there() -> None:
    commands = PROJECT_DIRECTORY / "airflow_jobs" / "management" / "commands"
    own = {path.stem for path in commands.glob("*.py")}
    for command in set(re.findall(r"manage\.py ([a-z_]+)", README)):
        assert command in own | {"migrate", "check"}, command


def test_the_top_level_holds_nothing_unexpected() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=PROJECT_DIRECTORY, check=True, capture_output=True, text=True
    ).stdout.split("\n")
    top = {name.split("/")[0] for name in tracked if name and not name.startswith(".")}
    assert top <= {
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "Makefile",
        "Dockerfile",
        "docker-compose.yml",
        "manage.py",
        "pyproject.toml",
        "requirements.txt",
        "requirements-dev.txt",
        "config",
        "airflow_jobs",
        "dashboards",
        "tests",
        "docs",
        "benchmarks",
        "examples",
    }
