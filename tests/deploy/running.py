"""The real commands, started as an operator starts them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import psutil

from config.env import PROJECT_DIRECTORY

from .conftest import free_port, server_processes

# What a test run sets for itself, and what an operator may have set, is not for these services.
OURS = ("DATA_DIR", "DATABASE_URL", "BROKER_URL", "CACHE_URL", "SECRET_KEY", "SITE_URL", "PORT")


class Running:
    """A ``manage.py`` command that starts the service, with its data in a folder."""

    def __init__(self, command: list[str], data: Path, **settings: str) -> None:
        self.data = data
        self.port = int(settings.pop("PORT", "") or free_port())
        self.url = f"http://localhost:{self.port}"
        self.lines: list[str] = []
        environment = {
            name: value
            for name, value in os.environ.items()
            if name not in OURS and name != "DJANGO_SETTINGS_MODULE"
        }
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", *command],
            cwd=PROJECT_DIRECTORY,
            env={**environment, "DATA_DIR": str(data), "PORT": str(self.port), **settings},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def says(self, text: str) -> str:
        """Read lines until one contains a text."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.rstrip("\n"))
            if text in line:
                return line.strip()
        raise AssertionError(
            f"it ended without saying {text!r}: {self.lines} {self.ends()}\n{self.logs()}"
        )

    def logs(self) -> str:
        """Quote the end of every log."""
        return "\n".join(
            f"{log.name}: {log.read_text(errors='replace')[-1500:]}"
            for log in sorted((self.data / "log").glob("*.log"))
        )

    def ends(self) -> tuple[int, str]:
        """Wait for the end; return the status and what it complained of."""
        output, errors = self.process.communicate(timeout=300)
        self.lines += output.splitlines()
        return self.process.returncode, errors.strip()

    def line(self, start: str) -> str:
        """Find the one line, of those read so far, that starts with a text."""
        (found,) = [line.strip() for line in self.lines if line.strip().startswith(start)]
        return found

    def processes(self) -> list[psutil.Process]:
        """List everything that it has started, PostgreSQL included."""
        started = psutil.Process(self.process.pid).children(recursive=True)
        return [*started, *server_processes(self.data / "postgres")]

    def send(
        self, method: str, path: str, *, token: str | None = None, body: Any = None
    ) -> tuple[int, Any]:
        """Send a request below /api/v1/; return the status and the answer."""
        request = urllib.request.Request(
            f"{self.url}/api/v1/{path}",
            method=method,
            data=None if body is None else json.dumps(body).encode(),
            headers={
                "Content-Type": "application/json",
                **({"Authorization": f"Bearer {token}"} if token else {}),
            },
        )
        try:
            with urllib.request.urlopen(request, timeout=30) as response:
                return response.status, json.load(response)
        except urllib.error.HTTPError as error:
            with error:
                return error.code, json.load(error)


def still_there(processes: list[psutil.Process]) -> list[psutil.Process]:
    """List those of some processes that have not ended; the dead but unreaped have."""
    found = []
    for process in processes:
        try:
            if process.is_running() and process.status() != psutil.STATUS_ZOMBIE:
                found.append(process)
        except psutil.NoSuchProcess:
            continue
    return found
