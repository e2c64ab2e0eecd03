"""How long the manager's pages take at ten thousand and at a million traverses, in one run.

    python -m benchmarks.pages [--quick] [--sizes 10000 1000000] [--rounds 5] [--keep FOLDER]
                               [--only fleet crews ...]

Each size gets a PostgreSQL of its own in a throw-away folder, filled with an invented company
(`benchmarks.company`). Pages are asked for in the same process, so the figures are the server's
own time: queries, values, charts, template. Each is the median of some rounds, after one that
warms up. The small company is the yardstick: the last columns say how many times longer a page
takes for a hundred times as many traverses, and the number of statements, which must be the same.

With `--keep` the databases stay in that folder and are used again the next time, so that one
page can be worked on without filling a million again.
"""

import argparse
import importlib
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchmarks.company import Filled

SIZES = (10_000, 1_000_000)
QUICK_SIZES = (2_000, 20_000)
ROUNDS = 5
PROJECT = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Look:
    """One page in one view.

    Attributes
    ----------
    name : str
        The name of its address.
    view : str
        Which view of it, in words.
    arguments : dict
        What the address is made of.
    query : str
    """

    name: str
    view: str
    arguments: dict[str, str]
    query: str = ""


@dataclass(frozen=True)
class Figure:
    """What one view took."""

    name: str
    view: str
    seconds: float
    statements: int


def _periods(name: str, arguments: dict[str, str] | None = None, more: str = "") -> list[Look]:
    what = f"{more}, " if more else ""
    return [
        Look(name, f"{what}{words}", arguments or {}, query)
        for words, query in (("12 months", ""), ("everything", "period=all"))
    ]


def _files(name: str, slugs: Sequence[str], arguments: dict[str, str] | None = None) -> list[Look]:
    return [
        look
        for slug in slugs
        for look in _periods(name, {**(arguments or {}), "slug": slug}, f"{slug}.csv")
    ]


def _slugs(module: str, name: str = "FILES") -> tuple[str, ...]:
    """Return the tables that a page offers as files."""
    return tuple(getattr(importlib.import_module(f"dashboards.pages.{module}"), name))


def _two(on: "Filled") -> str:
    return f"system={on.system_id}&system={on.set_system_id}"


# A page without an entry here or below fails a test.
PAGES: "dict[str, Callable[[Filled], list[Look]]]" = {
    "fleet": lambda on: [
        *_periods("fleet"),
        Look("fleet", "one crew, 12 months", {}, f"crew={on.crew_id}"),
        Look("fleet", "one site, everything", {}, f"site={on.site_id}&period=all"),
        Look("fleet", "supply, everything", {}, "air_path=supply&period=all"),
    ],
    "fleet-file": lambda on: _files("fleet-file", _slugs("fleet")),
    "needs-a-look": lambda on: [Look("needs-a-look", "", {})],
    "needs-a-look-file": lambda on: [Look("needs-a-look-file", "", {})],
    "due": lambda on: [Look("due", "", {})],
    "due-file": lambda on: [Look("due-file", "due.csv", {"slug": "due"})],
    "crews": lambda on: _periods("crews"),
    "crews-file": lambda on: _files("crews-file", _slugs("crews", "TABLES")),
    "over-time": lambda on: _periods("over-time"),
    "over-time-file": lambda on: _files("over-time-file", _slugs("over_time_tables")[:3]),
    "instruments": lambda on: _periods("instruments"),
    "instruments-file": lambda on: _files("instruments-file", ("compared", "register")),
    "instrument": lambda on: _periods("instrument", {"instrument_id": str(on.instrument_id)}),
    "instrument-file": lambda on: _periods(
        "instrument-file", {"instrument_id": str(on.instrument_id)}
    ),
    "instrument-calibrations-file": lambda on: [
        Look("instrument-calibrations-file", "", {"instrument_id": str(on.instrument_id)})
    ],
    "systems": lambda on: [
        Look("systems", "first page", {}),
        Look("systems", "a page in the middle", {}, f"page={on.systems // 100 + 1}"),
        Look("systems", "searched", {}, "q=AH-7"),
        Look("systems", "one site", {}, f"site={on.site_id}"),
    ],
    "systems-returning": lambda on: _periods("systems-returning"),
    "returning-file": lambda on: _files("returning-file", _slugs("returning")),
    "system": lambda on: [
        Look("system", "measured in one section", {"system_id": str(on.system_id)}),
        Look("system", "measured by flow-sets", {"system_id": str(on.set_system_id)}),
    ],
    "system-file": lambda on: [
        Look("system-file", f"{slug}.csv", {"system_id": str(on.system_id), "slug": slug})
        for slug in _slugs("system")
    ],
    "systems-compared": lambda on: [Look("systems-compared", "two systems", {}, _two(on))],
    "compared-file": lambda on: [
        Look("compared-file", "summary.csv", {"slug": "summary"}, _two(on))
    ],
    "visit": lambda on: [Look("visit", "", {"visit_id": str(on.visit_id)})],
    "visit-report": lambda on: [Look("visit-report", "", {"visit_id": str(on.visit_id)})],
    "site": lambda on: _periods("site", {"site_id": str(on.site_id)}),
    "site-file": lambda on: [
        Look("site-file", f"{slug}.csv", {"site_id": str(on.site_id), "slug": slug})
        for slug in _slugs("site")
    ],
    "digest": lambda on: [Look("digest", "", {})],
    "traverse": lambda on: [Look("traverse", "", {"traverse_id": str(on.traverse_id)})],
    "traverse-file": lambda on: [
        Look("traverse-file", f"{slug}.csv", {"traverse_id": str(on.traverse_id), "slug": slug})
        for slug in ("readings", "budget")
    ],
    "traverse-revisions": lambda on: [
        Look("traverse-revisions", "", {"traverse_id": str(on.traverse_id)})
    ],
    "traverse-revisions-file": lambda on: [
        Look("traverse-revisions-file", "", {"traverse_id": str(on.traverse_id)})
    ],
}

# Pages that read nothing which grows, or hardly anything.
NOT_MEASURED = {"method"}


def measure(on: "Filled", rounds: int, only: Sequence[str] = ()) -> Iterator[Figure]:
    """Ask for every page, or for those of some names; yield what each took."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    client = Client(SERVER_NAME="localhost")
    client.force_login(on.manager)
    for name, looks in PAGES.items():
        if only and name not in only:
            continue
        for look in looks(on):
            address = f"{reverse(look.name, kwargs=look.arguments)}?{look.query}"

            def ask(address: str = address) -> None:
                answer = client.get(address)
                if answer.status_code != 200 or not b"".join(answer):
                    raise RuntimeError(f"{address} answered {answer.status_code}")

            with CaptureQueriesContext(connection) as statements:
                ask()
            # The next request empties the log that they are counted in.
            count = len(statements)
            took = []
            for _ in range(rounds):
                start = time.perf_counter()
                ask()
                took.append(time.perf_counter() - start)
            yield Figure(look.name, look.view, statistics.median(took), count)


@contextmanager
def _filled(traverses: int, folder: Path) -> "Iterator[Filled]":
    """Have a company of that size in a database of its own for the length of a block.

    A folder that has one from an earlier time is used as it is.
    """
    os.environ["DATA_DIR"] = str(folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
    # Whatever else this shell points at must not be filled with inventions.
    for name in ("DATABASE_URL", "BROKER_URL", "CACHE_URL"):
        os.environ.pop(name, None)
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connections

    from airflow_jobs import embedded

    with embedded.running(settings.ENV.postgres_directory):
        try:
            call_command("migrate", verbosity=0)
            from benchmarks import company

            kept = folder / "filled.json"
            if kept.exists():
                yield company.Filled.from_json(kept.read_text())
                return
            start = time.perf_counter()
            filled = company.fill(traverses)
            print(f"  {traverses:,} traverses filled in {time.perf_counter() - start:.0f} s")
            kept.write_text(filled.as_json())
            yield filled
        finally:
            connections.close_all()


@contextmanager
def _folder(keep: Path | None, traverses: int) -> Iterator[Path]:
    """Have a folder for a database: one that stays, or one that goes."""
    if keep is not None:
        folder = keep.resolve() / str(traverses)
        folder.mkdir(parents=True, exist_ok=True)
        yield folder
        return
    with tempfile.TemporaryDirectory(prefix="duct-flow-bench-") as throw_away:
        yield Path(throw_away)


def _measure_one(
    traverses: int, rounds: int, answer: Path, *, keep: Path | None, only: Sequence[str]
) -> None:
    """Fill, measure and write the figures; in a process of its own, for settings are for good."""
    with _folder(keep, traverses) as folder:
        # As root another account runs PostgreSQL and must get through to its folder.
        folder.chmod(0o711)
        with _filled(traverses, folder) as on:
            figures = []
            for figure in measure(on, rounds, only):
                print(f"  {_label(figure):52}{1e3 * figure.seconds:12.1f} ms", flush=True)
                figures.append(asdict(figure))
    answer.write_text(json.dumps(figures))


def _figures(
    traverses: int, rounds: int, *, keep: Path | None, only: Sequence[str]
) -> list[Figure]:
    """Return the figures of one size."""
    with tempfile.TemporaryDirectory() as folder:
        answer = Path(folder) / "figures.json"
        subprocess.run(
            [
                *(sys.executable, "-m", "benchmarks.pages", "--one", str(answer)),
                *("--sizes", str(traverses), "--rounds", str(rounds)),
                *(("--keep", str(keep)) if keep else ()),
                *(("--only", *only) if only else ()),
            ],
            cwd=PROJECT,
            check=True,
            # One thread of linear algebra, as the service runs with.
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        return [Figure(**figure) for figure in json.loads(answer.read_text())]


def _label(figure: Figure) -> str:
    return f"{figure.name}: {figure.view}" if figure.view else figure.name


def _print(small: Sequence[Figure], large: Sequence[Figure], sizes: Sequence[int]) -> None:
    heads = "".join(f"{f'at {size:,}':>15}" for size in sizes)
    print(f"{'':52}{heads}{'times':>9}{'statements':>13}")
    for one, other in zip(small, large, strict=True):
        same = str(one.statements)
        if other.statements != one.statements:
            same = f"{one.statements} -> {other.statements}"
        print(
            f"{_label(one):52}{1e3 * one.seconds:12.1f} ms{1e3 * other.seconds:12.1f} ms"
            f"{other.seconds / one.seconds:9.1f}{same:>13}"
        )


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="two thousand and twenty thousand")
    parser.add_argument(
        "--sizes", type=int, nargs="+", metavar="N", help="numbers of traverses, smallest first"
    )
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep the databases there")
    parser.add_argument("--only", nargs="+", default=[], choices=PAGES, metavar="NAME")
    parser.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    sizes = options.sizes or (QUICK_SIZES if options.quick else SIZES)
    if options.one:
        _measure_one(sizes[0], options.rounds, options.one, keep=options.keep, only=options.only)
        return
    figures = [
        _figures(size, options.rounds, keep=options.keep, only=options.only) for size in sizes
    ]
    _print(figures[0], figures[-1], (sizes[0], sizes[-1]))


if __name__ == "__main__":
    main()
