"""Whatever stands in a file or is typed: a clear refusal, or a finite, judged result; nothing measured changes.

A small share of the cases runs always; `--long` runs more than 20,000. What the long run found stands in
test_findings.py, each with a case of its own.
"""

from __future__ import annotations

import itertools
import json
import tempfile
from pathlib import Path

import pytest
from evidence import record
from grammar import profiles
from harness import Ended, files, judge, judge_plan, run, unchanged
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lamp_bench import LOG, PROFILE, Bench
from mutations import encoded, mutated

SHARE = {"few": 0.4, "many": 40}
"""How many of the cases that a property names are tried."""
SCALE = pytest.mark.parametrize("scale", ["few", pytest.param("many", marks=pytest.mark.long)])
counts: dict[str, dict[int, int]] = {}


def cases(number: int, scale: str, **strategies: st.SearchStrategy) -> object:
    """A property run over `number` drawn cases, the same ones every time; many more of them in a long run."""
    many = settings(
        max_examples=round(number * SHARE[scale]),
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
        print_blob=False,
    )

    def decorate(check: object) -> object:
        return many(given(**strategies)(check))

    return decorate


_numbers = itertools.count(1)


def tried(
    bench: Bench, name: str, *arguments: str, typed: str = "", but: tuple[str, ...] = (), **texts: object
) -> Ended:
    """Run one case in a fresh copy of the bench; `texts` are (path, bytes) written before."""
    with tempfile.TemporaryDirectory(prefix=f"case{next(_numbers)}-") as place:
        folder = bench.copy(Path(place))
        for path, data in texts.values():  # type: ignore[misc]
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_bytes(data)
        before = files(folder)
        ended = run(folder, *arguments, typed=typed)
        after = files(folder)
        unchanged(before, after, but=but)
        if ended.code == 2:
            assert after == before, (set(after) - set(before), ended)
        for path in but:
            if path in before and path.endswith(".log.toml"):
                assert after[path].startswith(before[path]), "a log is only ever added to"
    assert ended.code != 3, ended
    seen = counts.setdefault(name, {})
    seen[ended.code] = seen.get(ended.code, 0) + 1
    return ended


@SCALE
def test_profiles_by_grammar(bench: Bench, scale: str) -> None:
    @cases(110, scale, text=profiles())
    def check(text: str) -> None:
        ended = tried(
            bench, "profile, grammar", "predict", "profiles/p.toml", "--json", a=("profiles/p.toml", text.encode())
        )
        judge_plan(ended)
        assert ended.code != 2 or "p.toml" in ended.err, ended

    check()


@SCALE
def test_mutated_profiles(bench: Bench, scale: str) -> None:
    @cases(160, scale, data=mutated(bench.profile).flatmap(encoded))
    def check(data: bytes) -> None:
        ended = tried(bench, "profile, mutated", "predict", "profiles/p.toml", "--json", a=("profiles/p.toml", data))
        judge_plan(ended)
        assert ended.code != 2 or "p.toml" in ended.err, ended

    check()


@SCALE
@pytest.mark.parametrize("kind", ["printers/mine.toml", "materials/PLA.toml"])
def test_mutated_printers_and_materials(bench: Bench, scale: str, kind: str) -> None:
    where = next(p for p in (bench.folder / "profiles").rglob("*.toml") if str(p).casefold().endswith(kind.casefold()))
    path = where.relative_to(bench.folder).as_posix()

    @cases(40, scale, data=mutated(where.read_text()).flatmap(encoded))
    def check(data: bytes) -> None:
        judge_plan(tried(bench, kind, "predict", PROFILE, "--json", "--printer", "mine", a=(path, data)))

    check()


@SCALE
def test_mutated_logs(bench: Bench, scale: str) -> None:
    tried_log = (
        bench.log + '\n[[trial]]\nrevision = "r01"\nlabel = "LEFT"\ndate = 2026-11-25\nproud_mm = 2.4\nfeel = "free"\n'
    )
    command = st.sampled_from(
        (("predict", "--json"), ("predict", "--json"), ("log", "--json"), ("log",), ("trial", "t.csv"))
    )

    @cases(50, scale, data=mutated(tried_log).flatmap(encoded), command=command)
    def check(data: bytes, command: tuple[str, ...]) -> None:
        ended = tried(
            bench,
            "log",
            command[0],
            PROFILE,
            *command[1:],
            but=(LOG,) if command[0] == "trial" else (),
            a=(LOG, data),
            b=("t.csv", bench.trial.encode()),
        )
        judge(ended)
        assert ended.code != 2 or "lamp" in ended.err or "t.csv" in ended.err, ended

    check()


@SCALE
def test_mutated_trials(bench: Bench, scale: str) -> None:
    options = st.sampled_from(((), (), ("--as-entered",), ("--revision", "r01"), ("--swapped", "LEFT,RIGHT")))

    @cases(60, scale, data=mutated(bench.trial).flatmap(encoded), options=options)
    def check(data: bytes, options: tuple[str, ...]) -> None:
        ended = tried(bench, "trial", "trial", PROFILE, "t.csv", "--json", *options, but=(LOG,), a=("t.csv", data))
        judge(ended)
        if ended.code in (0, 1):
            assert all(p["proud_u95_mm"] > 0 for p in json.loads(ended.out)["positions"]), ended

    check()


@SCALE
def test_mutated_coupon_readings(bench: Bench, scale: str) -> None:
    printer = tuple(f"profiles/printers/mine.{end}" for end in ("toml", "readings.csv", "log.toml"))

    @cases(60, scale, data=mutated(bench.readings).flatmap(encoded))
    def check(data: bytes) -> None:
        ended = tried(bench, "coupon readings", "calibrate", "mine", "r.csv", but=printer, a=("r.csv", data))
        judge(ended)
        assert ended.code != 2 or "r.csv" in ended.err, ended

    check()


LINES = st.one_of(
    st.sampled_from(
        (
            "undo",
            "discard",
            "skip",
            "go LEFT",
            "go nowhere",
            "gap 4 6",
            "gap",
            "gap x y",
            "mm",
            "inch",
            "list",
            "next",
            "is 4",
            "is",
            "help",
            "?",
            "",
            "go",
            "stop now",
            "0.0625",
            "0.1858",
            "4.72 mm",
            "11/64 in",
        )
    ),
    st.floats(width=32).map(str),
    st.text(max_size=12),
    st.integers(-5, 50).map(str),
)


@SCALE
def test_anything_typed_while_measuring(bench: Bench, scale: str) -> None:
    @cases(12, scale, lines=st.lists(LINES, max_size=12))
    def check(lines: list[str]) -> None:
        ended = tried(bench, "measure", "measure", PROFILE, typed="\n".join(lines) + "\n", but=(PROFILE,))
        judge(ended)
        assert ended.code == 0

    check()


@SCALE
def test_anything_typed_in_a_trial(bench: Bench, scale: str) -> None:
    words = st.sampled_from(
        ("2.3", "flush", "rubs left", "free", "holds", "tight", ".", "", "y", "no", "nan", "1e999", "-40")
    )

    @cases(8, scale, lines=st.lists(words | st.text(max_size=8), max_size=16))
    def check(lines: list[str]) -> None:
        judge(tried(bench, "trial, typed", "trial", PROFILE, typed="\n".join(lines), but=(LOG,)))

    check()


@SCALE
def test_a_mutated_fit_document_is_reported_or_refused(bench: Bench, scale: str) -> None:
    @cases(10, scale, data=mutated(bench.fit).flatmap(encoded))
    def check(data: bytes) -> None:
        judge(tried(bench, "fit.json", "report", PROFILE, "--out", "out", a=("out/lamp/r01/fit.json", data)))

    check()


NAMES = (
    "../../etc/passwd",
    "/etc/passwd",
    "mine\0",
    "",
    ".",
    "..",
    "CON",
    "nul.toml",
    "a/b",
    "a\\b",
    "é" * 50,
    "x" * 300,
    "-x",
    "--",
    "\u202emine",
    "mine.toml",
    " mine ",
    "material-extrusion",
    "$(touch x)",
    "`touch x`",
    "%00",
    "\n",
    "{0}",
)
OPTIONS = (
    ("predict", PROFILE, "--json", "--printer", "{}"),
    ("trial", PROFILE, "t.csv", "--revision", "{}"),
    ("trial", PROFILE, "t.csv", "--swapped", "{}"),
    ("calibrate", "{}", "r.csv"),
    ("predict", "{}", "--json"),
    ("log", "{}"),
    ("report", PROFILE, "--revision", "{}"),
    ("build", PROFILE, "--revision", "{}"),
    ("sheet", "{}"),
    ("coupon", "{}", "--process", "none"),
    ("calibrate", "mine", "{}"),
    ("calibrate", "mine", "r.csv", "--material", "{}"),
    ("predict", PROFILE, "--json", "--seed", "{}"),
)


@pytest.mark.sample(4)
@pytest.mark.parametrize("command", OPTIONS, ids=lambda command: " ".join(command).replace(PROFILE, "P"))
def test_names_that_are_no_names(bench: Bench, command: tuple[str, ...]) -> None:
    """Paths, devices, control characters and far too long names where a name is asked for."""
    for name in NAMES:
        arguments = [part.format(name) if part == "{}" else part for part in command]
        if not name and command[0] == "calibrate":
            continue
        if command[0] in ("report", "build", "sheet"):
            arguments = [*arguments, "--out", "out"]
        ended = tried(
            bench,
            "options",
            *arguments,
            but=(
                *(f"profiles/printers/mine.{end}" for end in ("toml", "readings.csv", "log.toml")),
                *(f"profiles/printers/{name}.{end}" for end in ("toml", "readings.csv", "log.toml")),
            ),
            a=("t.csv", b"label,proud_mm,feel,grip,note\nLEFT,99,,,\n"),
            b=("r.csv", bench.readings.encode()),
        )
        judge(ended)


@pytest.fixture(scope="module", autouse=True)
def report() -> object:
    """Counts per kind of input and exit code, where PARTGEN_FUZZ_COUNTS names a file for them."""
    yield
    how = "PARTGEN_EVIDENCE=docs/evidence python -m pytest --long tests/robustness/test_bad_input.py"
    rows = [[kind, sum(seen.values()), *(seen.get(code, 0) for code in (0, 1, 2))] for kind, seen in counts.items()]
    sums = [sum(column) for column in zip(*(row[1:] for row in rows), strict=True)]
    record("spoilt-inputs", how, ["Input", "Tried", "Exit 0", "Exit 1", "Exit 2"], [*rows, ["together", *sums]])
