"""How many small faults in the heart its own tests notice, for developers. Not part of the tests.

    python tests/mutation.py                       200 faults drawn from the heart with seed 1
    python tests/mutation.py --count 400 --seed 7  another draw
    python tests/mutation.py --only passage.py     one module; --list says what would be tried
    python tests/mutation.py --count 100000 --evidence docs/evidence    all, and the table for docs/evidence/mutation.md

Works on a copy in a temporary folder. Each fault is one changed operator, comparison, number, sign, condition or
function; it is noticed when a test of that module's own fails, or hangs. What is not noticed is listed by line,
and a person looks at each: a test is missing, or the change makes no difference that matters.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import gc
import importlib
import io
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from evidence import record

ROOT = Path(__file__).resolve().parent.parent
PANEL = (
    "metrology/test_witness.py",
    "metrology/test_estimate_rows.py",
    "metrology/test_panel_fit.py",
    "metrology/test_estimate.py",
)
HEART = {
    "design/heights.py": ("design/test_plan_heights.py", "design/test_heart.py"),
    "design/passage.py": ("design/test_shapes_by_hand.py", "design/test_passage.py"),
    "design/section_outlines.py": (
        "design/test_shapes_by_hand.py",
        "design/test_sections.py",
        "design/test_passage.py",
        "design/test_heart.py",
    ),
    "design/erosion.py": ("design/test_erosion.py", "design/test_room_draws.py", "design/test_heart.py"),
    "design/clearance.py": (
        "design/test_causes_drawn.py",
        "design/test_room_draws.py",
        "design/test_largest_section.py",
        "design/test_heart.py",
    ),
    "design/largest_section.py": (
        "design/test_shapes_by_hand.py",
        "design/test_largest_section.py",
        "design/test_heart.py",
    ),
    "design/opening.py": (
        "design/test_caps.py",
        "design/test_room_draws.py",
        "design/test_solve.py",
        "design/test_heart.py",
    ),
    "design/tolerance_stack.py": ("design/test_room_draws.py",),
    "design/height_probability.py": ("design/test_level.py",),
    "design/caps.py": (
        "design/test_decided_by_hand.py",
        "design/test_caps.py",
        "design/test_solve.py",
        "design/test_heart.py",
    ),
    "design/seat_mounting.py": ("design/test_at_the_limit.py", "design/test_solve.py", "design/test_heart.py"),
    "design/neighbours.py": (
        "design/test_at_the_limit.py",
        "design/test_heart.py",
        "design/test_solve.py",
        "design/test_plan_findings.py",
    ),
    "design/plan_findings.py": (
        "design/test_at_the_limit.py",
        "design/test_plan_findings.py",
        "design/test_solve.py",
        "design/test_heart.py",
    ),
    "design/plan_set.py": (
        "design/test_decided_by_hand.py",
        "design/test_solve.py",
        "design/test_plan_findings.py",
        "design/test_heart.py",
    ),
    "metrology/estimate.py": PANEL,
    "metrology/unknowns.py": PANEL,
    "metrology/observations.py": (*PANEL, "metrology/test_doubts.py"),
    "metrology/linear.py": ("metrology/test_linear.py",),
    "metrology/readings.py": (
        "metrology/test_estimate_rows.py",
        "metrology/test_readings.py",
        "metrology/test_doubts.py",
    ),
}
"""Modules of the heart with the tests that stand for each, quick ones first."""
HEAVY = ("numpy", "scipy.stats", "scipy.optimize", "scipy.spatial", "shapely", "pydantic", "tomlkit", "pytest")
BELOW = ("partgen.core.findings", "partgen.profile.profile_record", "partgen.profile.printer_records")
"""Modules of ours that import none of the heart."""
HEAVIER = ("hypothesis", "hypothesis.strategies", "uncertainties", "statsmodels.api", "metrolopy")
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
    ast.MatMult: ast.Mult,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
NAMES = {
    "min": "max",
    "floor": "ceil",
    "sin": "cos",
    "minimum": "maximum",
    "all": "any",
    "argmin": "argmax",
}
NAMES = {**NAMES, **{there: here for here, there in NAMES.items()}}


@dataclass(frozen=True)
class Mutant:
    """One changed place."""

    module: str
    line: int
    was: str
    now: str
    source: str
    """The whole module with the change."""

    def __str__(self) -> str:
        return f"partgen/{self.module}:{self.line}: {self.was}  -->  {self.now}"


def mutants(module: str) -> list[Mutant]:
    """Every fault there is for a module, in the order of its lines."""
    text = (ROOT / "partgen" / module).read_text(encoding="utf-8")
    lines = text.encode().splitlines(keepends=True)
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line))
    found = []
    for node in _code(ast.parse(text)):
        begin = starts[node.lineno - 1] + node.col_offset
        end = starts[node.end_lineno - 1] + node.end_col_offset  # type: ignore[operator]
        was = ast.unparse(node)
        for changed in _changed(node):
            now = ast.unparse(changed)
            if now == was:
                continue
            new = now if isinstance(node, ast.stmt) else f"({now})"
            data = text.encode()
            source = (data[:begin] + new.encode() + data[end:]).decode()
            found.append(Mutant(module, node.lineno, was.split("\n")[0], now.split("\n")[0], source))
    return sorted(found, key=lambda m: (m.line, m.was, m.now))


def _code(tree: ast.AST) -> Iterator[ast.expr | ast.stmt]:
    """Expressions and counting statements that are run; annotations, imports, and words of errors left out."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.expr | ast.AugAssign):
            yield node
        for field, value in ast.iter_fields(node):
            if field in ("annotation", "returns", "decorator_list") or isinstance(node, ast.JoinedStr | ast.Raise):
                continue
            waiting += [one for one in (value if isinstance(value, list) else [value]) if isinstance(one, ast.AST)]


def _changed(node: ast.AST) -> Iterator[ast.AST]:
    """The faults of one node, children as they are."""

    def other(**fields: object) -> ast.AST:
        new = copy.copy(node)
        for name, value in fields.items():
            setattr(new, name, value)
        return new

    match node:
        case ast.BinOp(op=op) | ast.AugAssign(op=op) | ast.BoolOp(op=op) if type(op) in SWAPS:
            yield other(op=SWAPS[type(op)]())
        case ast.Compare(ops=ops):
            for i, op in enumerate(ops):
                yield other(ops=[*ops[:i], SWAPS[type(op)](), *ops[i + 1 :]])
        case ast.UnaryOp(op=ast.USub() | ast.Not(), operand=operand):
            yield operand
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() | float() as value):
            yield ast.Constant(value + 1)
            if isinstance(value, float) and abs(value) > 1e-5:  # a tolerance a fifth smaller is the same one
                yield ast.Constant(value * 0.8)
        case ast.IfExp(body=body, orelse=orelse):
            yield other(body=orelse, orelse=body)
        case ast.Call(func=ast.Name(id=name)) if name in NAMES:
            yield other(func=ast.Name(NAMES[name]))
        case ast.Call(func=ast.Attribute(attr=name, value=value)) if name in NAMES:
            yield other(func=ast.Attribute(value, NAMES[name]))


def tried(mutant: Mutant | None, tests: tuple[str, ...], place: Path, limit: float) -> str:
    """ "noticed", "noticed, late" or "not noticed" by a module's tests, in a child of this process."""
    if mutant is not None:
        target = place / "partgen" / mutant.module
        kept = target.read_text(encoding="utf-8")
        target.write_text(mutant.source, encoding="utf-8")
    try:
        child = os.fork()
        if child == 0:
            os._exit(_child(tests, place))
        ends = time.monotonic() + limit
        while time.monotonic() < ends:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return "not noticed" if os.waitstatus_to_exitcode(status) == 0 else "noticed"
            time.sleep(0.05)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return "noticed, late"
    finally:
        if mutant is not None:
            target.write_text(kept, encoding="utf-8")


def _child(tests: tuple[str, ...], place: Path) -> int:
    import pytest

    os.chdir(place)
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # the heart's tests need no plugin
    sys.dont_write_bytecode = True
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        return int(pytest.main(["-x", "-q", *(f"tests/{test}" for test in tests)]))


def main() -> int:
    parser = argparse.ArgumentParser(description="Mutation score of the heart")
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="modules whose name holds this")
    parser.add_argument("--evidence", metavar="FOLDER", help="write the table there, for docs/evidence/mutation.md")
    parser.add_argument("--list", action="store_true", help="say what would be tried, and try nothing")
    asked = parser.parse_args()
    every = [mutant for module in HEART if asked.only in module for mutant in mutants(module)]
    drawn = random.Random(asked.seed).sample(every, min(asked.count, len(every)))
    drawn.sort(key=lambda m: (m.module, m.line))
    print(f"{len(drawn)} of {len(every)} faults, seed {asked.seed}", flush=True)
    if asked.list:
        with contextlib.suppress(BrokenPipeError):  # a reader such as head has enough
            print(*drawn, sep="\n", flush=True)
            return 0
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    for name in (*HEAVY, *HEAVIER):
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        for name in ("partgen", "tests", "profiles"):
            shutil.copytree(ROOT / name, place / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", place)
        sys.path.insert(0, str(place))
        for name in BELOW:
            importlib.import_module(name)
        return score(drawn, place, asked.evidence)


def score(drawn: list[Mutant], place: Path, folder: str | None) -> int:
    """Tries all of them and prints what was found; writes it into the folder of evidence, where one is named."""
    gc.freeze()  # children need not look through what all of them share
    limits: dict[str, float] = {}
    counts: dict[str, list[int]] = {}
    for done, mutant in enumerate(drawn):
        if counts and mutant.module not in counts:
            _say(counts, done, len(drawn))
        tests = HEART[mutant.module]
        if mutant.module not in limits:
            began = time.monotonic()
            if tried(None, tests, place, 600) != "not noticed":
                print(f"{mutant.module}: its tests fail without any fault")
                return 1
            limits[mutant.module] = 20 + 5 * (time.monotonic() - began)
        result = tried(mutant, tests, place, limits[mutant.module])
        noticed = counts.setdefault(mutant.module, [0, 0])
        noticed[0] += result != "not noticed"
        noticed[1] += 1
        if result != "noticed":
            print(f"{result}: {mutant}", flush=True)
    for module, (yes, of) in counts.items():
        print(f"{module:24} {yes:4} of {of:4}")
    if folder:
        rows = [[f"`{module}`", f"{yes} of {of}", f"{100 * yes / of:.0f} %"] for module, (yes, of) in counts.items()]
        how = "python tests/mutation.py --count 100000 --evidence docs/evidence"
        record("mutation", how, ["Module", "Noticed", ""], rows, folder)
    yes, of = (sum(one[k] for one in counts.values()) for k in (0, 1))
    print(f"noticed {yes} of {of}: {100 * yes / of:.1f} %")
    return 0


def _say(counts: dict[str, list[int]], done: int, of: int) -> None:
    """How it stands, each time a module is through."""
    module, (yes, tried_there) = list(counts.items())[-1]
    everywhere = sum(one[0] for one in counts.values())
    print(f"  {module} done: {yes} of {tried_there}; {done} of {of} tried, {everywhere} noticed", flush=True)


if __name__ == "__main__":
    sys.exit(main())
