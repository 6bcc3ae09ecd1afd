"""Freeze what the profiles of this folder give now, after showing what is other than before.

    python tests/frozen/freeze.py                  show what differs, of every profile; write nothing
    python tests/frozen/freeze.py --write NAME...  write those anew; without a name, all

Freeze anew only what you can explain, difference by difference, in the commit that does it.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from values import PROFILES, VALUES, Flat, built, differences, frozen, names, planned


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", help="profiles by name; without any, all")
    parser.add_argument("--write", action="store_true", help="freeze what they give now")
    parser.add_argument("--quick", action="store_true", help="compare plans alone, build nothing")
    wanted = parser.parse_args()
    if unknown := set(wanted.names) - set(names()):
        parser.error(f"no such profile in {PROFILES}: {', '.join(sorted(unknown))}")
    for name in wanted.names or names():
        plan, old = planned(name), frozen(name)
        build = old["built"] if wanted.quick else changed(plan, built(name))
        lines = differences(old["planned"], plan) + differences(old["built"], build)
        print(f"{name}: {len(lines)} of {len(plan) + len(build)} differ")
        if old["planned"]:
            print("".join(f"  {line}\n" for line in lines), end="")
        if wanted.write:
            VALUES.mkdir(exist_ok=True)
            (VALUES / f"{name}.json").write_text(f'{{"planned": {one_a_line(plan)},\n"built": {one_a_line(build)}}}\n')


def changed(plan: Flat, build: Flat) -> Flat:
    """What building changed or added."""
    return {key: value for key, value in build.items() if key not in plan or plan[key] != value}


def one_a_line(values: Flat) -> str:
    """A JSON object with a value on each line, so that a change of one is a change of one line."""
    return "{\n" + ",\n".join(f"{json.dumps(key)}: {json.dumps(values[key])}" for key in sorted(values)) + "\n}"


if __name__ == "__main__":
    main()
