"""A service of small programs, run by the real supervisor in a process of its own.

``python -m tests.deploy.small_service FOLDER PORT [crash|no-web]``; ``... web PORT`` is its web
server.
"""

import http.server
import subprocess
import sys
from pathlib import Path

from airflow_jobs.embedded import DatabaseUnavailable
from airflow_jobs.supervisor import CannotRun, Place, Program, Supervisor

PROJECT_DIRECTORY = Path(__file__).resolve().parents[2]
HERE = [sys.executable, "-m", "tests.deploy.small_service"]
SLEEP = [sys.executable, "-c", "import time; time.sleep(3600)"]


class Healthy(http.server.BaseHTTPRequestHandler):
    """Answers 200 to everything."""

    def do_GET(self) -> None:
        """Answer."""
        self.send_response(200)
        self.end_headers()


def web(port: int) -> None:
    """Serve, with a process of its own that does not end by itself."""
    subprocess.Popen(SLEEP)
    http.server.ThreadingHTTPServer(("127.0.0.1", port), Healthy).serve_forever()


def main(directory: Path, port: int, fault: str) -> None:
    """Run until told to end; say what happens, one line each."""
    supervisor = Supervisor(
        place=Place(
            project_directory=PROJECT_DIRECTORY,
            data_directory=directory,
            log_directory=directory / "log",
            postgres_directory=directory / "postgres",
            address="127.0.0.1",
            port=port,
            url=f"http://localhost:{port}",
        ),
        programs=[
            Program(name="web", command=[*HERE, "web", str(port)]),
            Program(
                name="worker",
                command=[sys.executable, "-c", "exit('no luck')"] if fault == "crash" else SLEEP,
            ),
        ],
        say=lambda line: print(line, flush=True),
    )
    step = "exit('this step is broken')" if fault == "step" else "print('done')"
    try:
        with supervisor.running(
            before=[Program(name="step", command=[sys.executable, "-c", step])]
        ):
            print("up", flush=True)
            supervisor.watch()
    except (CannotRun, DatabaseUnavailable) as error:
        sys.exit(str(error))
    except KeyboardInterrupt:
        print("stopped", flush=True)


if __name__ == "__main__":
    if sys.argv[1] == "web":
        web(int(sys.argv[2]))
    else:
        main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] if len(sys.argv) > 3 else "")
