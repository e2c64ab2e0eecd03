"""Run the benchmarks: all of them, or the ones that are named.

python -m benchmarks [calc] [coverage] [over_http] [pages] [--quick]
"""

import argparse
from collections.abc import Callable, Sequence

from benchmarks import calc, coverage, over_http, pages

BENCHMARKS: dict[str, Callable[[Sequence[str]], None]] = {
    "calc": calc.main,
    "coverage": coverage.main,
    "over_http": over_http.main,
    "pages": pages.main,
}


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what is asked for, one after the other."""
    parser = argparse.ArgumentParser(description="each figure beside its yardstick")
    parser.add_argument("names", nargs="*", metavar="name", help=", ".join(BENCHMARKS))
    parser.add_argument("--quick", action="store_true", help="smaller, in some seconds")
    options = parser.parse_args(arguments)
    unknown = set(options.names) - set(BENCHMARKS)
    if unknown:
        parser.error(f"no benchmark {', '.join(sorted(unknown))}; known: {', '.join(BENCHMARKS)}")
    for name in options.names or BENCHMARKS:
        print(f"--- {name}")
        BENCHMARKS[name](["--quick"] if options.quick else [])


if __name__ == "__main__":
    main()
