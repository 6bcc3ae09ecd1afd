"""Run the benchmarks named on the command line, or all of them, and print one table of ratios."""

from __future__ import annotations

import importlib
import os
import pkgutil
import sys

from evidence import record

import benchmarks
from partgen.cli.common import table

HELPERS = {"rows", "by_hand", "floor", "__main__"}


def main() -> None:
    names = sys.argv[1:] or [m.name for m in pkgutil.iter_modules(benchmarks.__path__) if m.name not in HELPERS]
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    print(f"{os.cpu_count()} cores, load {load} when started; medians; smaller ratios are better\n", flush=True)
    rows: list[list[str]] = []
    for name in names:
        found = importlib.import_module(f"benchmarks.{name}").run()
        cells = [
            [r.what, r.reference, f"{r.ours:.3g} {r.unit}", f"{r.theirs:.3g} {r.unit}", f"{r.ratio:.2f}", r.note]
            for r in found
        ]
        rows += [[r.what, r.reference, f"{r.ratio:.2f}"] for r in found]
        print(table([name, "against", "ours", "reference", "ratio", ""], cells, numbers=(2, 3, 4)) + "\n", flush=True)
    if not sys.argv[1:]:
        record("build-cost", "PARTGEN_EVIDENCE=docs/evidence poe bench", ["Build", "against", "Ratio"], rows)


if __name__ == "__main__":
    main()
