"""A fault at every touch of the disk: what was measured is then the old or the new version, whole, and work goes on.

Each command runs once without a fault, which tells how often it touches the disk, then once per touch and kind of
fault. Afterwards the same command is run again without a fault and must reach what it would have reached.
"""

from __future__ import annotations

import json
import pickle
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from evidence import record
from harness import few_draws, files
from lamp_bench import LOG, PROFILE, Bench
from panel_scan import DISTANCES, panel_scan

from partgen.jobs.staging import PREFIX
from partgen.profile.edit import Place, add_reading
from partgen.profile.library import parse_printer
from partgen.profile.load import parse_profile
from partgen.profile.log_file import parse_log
from partgen.profile.undo import edited

FAULTS = ("kill", "half", "ENOSPC", "EIO")
SOME = 6
"""A normal run strikes every sixth touch, with one of the faults each."""
HERE = Path(__file__).parent
PRINTER = "profiles/printers/mine.toml"
READINGS = "profiles/printers/mine.readings.csv"
table: dict[str, Counter[str]] = {}


@dataclass(frozen=True)
class Job:
    """A command that writes, and what it may leave behind."""

    arguments: tuple[str, ...]
    typed: str = ""
    keeps: tuple[str, ...] = ()
    """Files that must be old or new, whole."""
    posts: tuple[str, ...] = ()
    """Requests to the bench page, in place of a command."""
    outputs: bool = False
    """Whether the first revision's outputs are there."""
    folder: str = ""
    """A folder that must be old or new, whole; killed while its old one is put aside, that one is there, whole."""
    read: bool = False
    """Whether a reading was recorded before."""
    older: bool = False
    """Whether an older one stands in the folder's place."""
    sparse: int = 1
    """A normal run strikes this many times fewer of its touches."""


def post(page: str, do: str, **more: object) -> str:
    return json.dumps({"tab": "faultytab", "page": page, "do": do, **more})


JOBS = {
    "measure": Job(("measure", PROFILE, "--repeats", "4"), "0.0622\n0.0623\n", (PROFILE,)),
    "trial": Job(("trial", PROFILE, "t.csv", "--as-entered"), "", (LOG, PROFILE)),
    "calibrate": Job(("calibrate", "mine", "r.csv"), "", (PRINTER, READINGS)),
    "undo a reading": Job(("undo", PROFILE), "", (PROFILE, LOG), read=True),
    "build": Job(
        ("build", PROFILE, "--out", "out", "--quiet", "--printer", "mine", "--again"), "", (LOG, PROFILE), sparse=8
    ),
    "build r01 again": Job(
        ("build", PROFILE, "--out", "out", "--quiet", "--revision", "r01"),
        "",
        (LOG, PROFILE),
        outputs=True,
        folder="out/lamp/r01",
        sparse=16,
    ),
    "coupon": Job(("coupon", "mine", "--for", PROFILE, "--out", "out"), folder="out/mine/coupon", sparse=2),
    "coupon again": Job(
        ("coupon", "mine", "--for", PROFILE, "--out", "out"), older=True, folder="out/mine/coupon", sparse=2
    ),
    "start": Job(
        (
            *("start", "profiles/fresh.toml", "--yes", "--rows", "1", "--columns", "2", "--pitch", "20 mm"),
            *("--hole", "round 9", "--seat", "round 3", "--seat-length", "4 mm", "--drop", "4 mm"),
        ),
        "",
        ("profiles/fresh.toml",),
    ),
    "scan": Job(
        ("scan", PROFILE, "panel.png", "--yes", *DISTANCES, "--out", "out"),
        "",
        (PROFILE, "out/lamp/scan.png", "out/lamp/scan.html"),
        sparse=9,
    ),
    "sheet": Job(("sheet", PROFILE, "--out", "out"), "", ("out/lamp/sheet.html",)),
    "report": Job(("report", PROFILE, "--out", "out"), "", ("out/lamp/r01/report.html",), outputs=True),
    "page, a reading": Job(
        (), "", (PROFILE,), (post("measure", "read", place=["position", "LEFT", "drop"], text="0.1855"),)
    ),
    "page, a wish": Job(
        (), "", (PROFILE,), (post("shape", "set", place=["part", "cap", "proud"], was="0.09", text="0.1"),)
    ),
    "page, a trial": Job(
        (),
        "",
        (LOG, PROFILE),
        (
            post("try", "enter", label="LEFT", values={"proud_mm": "2.31", "feel": "free", "grip": "holds"}),
            post("try", "record"),
        ),
    ),
}


@pytest.fixture(scope="module")
def server(bench: Bench, tmp_path_factory: pytest.TempPathFactory) -> Iterator[subprocess.Popen[str]]:
    parts = tmp_path_factory.mktemp("parts") / "made.pickle"
    parts.write_bytes(pickle.dumps(made_parts(bench)))
    command = [sys.executable, str(HERE / "faulty.py"), str(parts)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as served:
        yield served
        assert served.stdin is not None
        served.stdin.close()


def made_parts(bench: Bench) -> object:
    """What the kernel makes for the bench's first and next revision, by their marks, and for its coupon."""
    from partgen.geometry.coupon_solids import gauge, ladder
    from partgen.geometry.tessellate import tessellate
    from partgen.jobs.build import _marked
    from partgen.jobs.build_meshes import make_parts
    from partgen.jobs.calibrate import _with_ladder
    from partgen.jobs.plan import plan_profile
    from partgen.profile.library import find_material

    with few_draws():
        planned = plan_profile(bench.folder / PROFILE, printer="mine")
    profile, printer, bore = planned.inputs.profile, planned.inputs.printer, planned.estimate.bore_error.value
    made = {}
    for revision in ("r01", "r02"):
        plans = [_marked(plan, revision) for plan in planned.plan.positions]
        marks = tuple(plan.model.mark for plan in plans)
        made[marks] = make_parts(plans, profile, printer, lambda *_: None, bore_error=bore)
    beside = bench.folder / "profiles"
    coupon = _with_ladder(printer, find_material(printer.material, beside), bench.folder / PROFILE, None)
    sockets = [rung.socket for rung in coupon.rungs]
    return made, {"gauge": tessellate(gauge(coupon.features)), "ladder": tessellate(ladder(sockets))}


def ask(server: subprocess.Popen[str], folder: Path, job: Job, fault: str = "none", at: int = 0) -> dict[str, Any]:
    assert server.stdin is not None and server.stdout is not None
    work = {"folder": str(folder), "arguments": job.arguments, "typed": job.typed, "posts": job.posts}
    work |= {"fault": fault, "at": at}
    server.stdin.write(json.dumps(work) + "\n")
    server.stdin.flush()
    return json.loads(server.stdout.readline())  # type: ignore[no-any-return]


def prepared(bench: Bench, folder: Path, job: Job, scan: bytes) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    bench.copy(folder)
    if job.outputs:
        shutil.copytree(bench.folder / "out", folder / "out")
        (folder / "out/lamp/r01/report.html").write_text("an older one")
    if job.older:
        (folder / job.folder).mkdir(parents=True)
        (folder / job.folder / "sheet.html").write_text("an older one")
    if job.read:
        edited(folder / PROFILE).apply(add_reading(Place("position", "LEFT", "drop"), "0.1855"))
    (folder / "panel.png").write_bytes(scan)
    (folder / "t.csv").write_text(bench.trial)
    (folder / "r.csv").write_text(bench.readings)
    return folder


def whole(name: str, data: bytes) -> None:
    """The file can be read again by the very code that reads it."""
    if name.endswith(".png"):
        assert data.startswith(b"\x89PNG\r\n\x1a\n") and data.endswith(b"IEND\xaeB`\x82")
        return
    text = data.decode()
    if name == LOG:
        parse_log(data, name)
    elif name == PROFILE:
        parse_profile(text, name)
    elif name == PRINTER:
        parse_printer(text, name)


@pytest.mark.sample(8)
@pytest.mark.parametrize("every", [False, pytest.param(True, marks=pytest.mark.long)], ids=["some", "every"])
@pytest.mark.parametrize("name", JOBS)
def test_a_fault_at_every_touch(
    name: str, every: bool, bench: Bench, server: subprocess.Popen[str], tmp_path: Path
) -> None:
    """A long run strikes every touch with every fault; a normal one some touches, each with the next fault in turn."""
    job, folder = JOBS[name], tmp_path / "work"
    scan = panel_scan(tmp_path / "panel.png").read_bytes()
    old = files(prepared(bench, folder, job, scan))
    clean = ask(server, folder, job)
    assert clean["status"] in (0, 1), clean
    new = files(folder)
    stages = {path: stages_of(job, path, old.get(path), new[path]) for path in job.keeps}
    if job.folder:
        assert below(job.folder, new) not in ({}, below(job.folder, old))
    touches = len(clean["events"])
    assert touches > 5, clean
    seen = table.setdefault(name, Counter())
    for number, fault in enumerate(FAULTS):
        first, step = (1, 1) if every else (1 + number * SOME * job.sparse % touches, len(FAULTS) * SOME * job.sparse)
        for at in range(first, touches + 1, step):
            prepared(bench, folder, job, scan)
            done = ask(server, folder, job, fault, at)
            where = (name, fault, at, clean["events"][at - 1], done)
            assert "Traceback" not in done["err"] and "could not go on" not in done["err"], where
            killed = fault in ("kill", "half")
            assert done["status"] == (-9 if killed else done["status"]) and done["status"] in (-9, 0, 1, 3), where
            now = files(folder)
            for path, allowed in stages.items():
                assert now.get(path) in allowed, where
                if path in now:
                    whole(path, now[path])
            if name == "build":
                revision_whole_or_absent(now, new, where)
            aside = bool(job.folder) and put_aside(job.folder, now, old, new, killed, where)
            again = ask(server, folder, job)
            assert again["status"] in (0, 1, 2), (where, again)
            after = files(folder)
            if name not in ("measure", "page, a reading"):  # a saved one stays, so a repeated one comes on top
                refused = any(word in again["err"] for word in ("already", "nothing", "changed", "no results"))
                assert again["status"] != 2 or refused, (where, again)
                for path in job.keeps:
                    if name == "scan" and now.get(path) == new[path]:
                        continue  # what stands in the profile now is told by the scan beside it
                    if name == "build" and now.get(LOG) == new[LOG]:  # it was done already: this is the next revision
                        assert after[path].startswith(new[path]), (where, again)
                        continue
                    assert after[path] == new[path], (where, again)
            if job.folder:
                assert below(job.folder, after) == below(job.folder, new), (where, again)
            assert not [path for path in after if path.endswith(".tmp") or "unfinished" in path], (where, after)
            said = "taken over" in again["err"]
            kept = "the old one whole, put aside, killed" if aside else outcome(now, old, new, job, done)
            seen[f"{fault}: {kept}{', lock taken over and said' if said else ''}"] += 1
    assert sum(seen.values()) > 0


def stages_of(job: Job, path: str, before: bytes | None, after: bytes) -> list[bytes | None]:
    """What a file may hold: old, new, or for a session of readings anything saved in between."""
    if path == PROFILE and job.typed and before is not None:
        first, second = (after.decode().replace(one, "").encode() for one in (", 0.0623", ", 0.0622"))
        assert len({before, first, second, after}) == 4
        return [before, first, second, after]  # a reading that could not be saved is said, and the next one is taken
    return [before, after]


def revision_whole_or_absent(now: dict[str, bytes], new: dict[str, bytes], where: object) -> None:
    home = "out/lamp/r02/"
    there = {path for path in now if path.startswith(home)}
    if there:
        assert there == {path for path in new if path.startswith(home)}, where
        assert json.loads(now[home + "fit.json"])["revision"] == "r02", where
    elif LOG in now:
        assert all(r.id != "r02" for r in parse_log(now[LOG], LOG).revision), where


def below(folder: str, there: dict[str, bytes]) -> dict[str, bytes]:
    return {path.removeprefix(f"{folder}/"): data for path, data in there.items() if path.startswith(f"{folder}/")}


def put_aside(
    folder: str, now: dict[str, bytes], old: dict[str, bytes], new: dict[str, bytes], killed: bool, where: object
) -> bool:
    """Whether the old folder is not in its place but beside it, whole: only for one that was killed.

    Else what is in its place is the old one or the new one, whole.
    """
    there, before = below(folder, now), below(folder, old)
    if there or not before:
        assert there in (before, below(folder, new)), where
        return False
    home, _, name = folder.rpartition("/")
    beside = {path.split("/")[0] for path in below(home, now)}
    aside = [below(f"{home}/{one}/{name}", now) for one in beside if one.startswith(PREFIX)]
    assert killed and before in aside, where
    return True


def outcome(now: dict[str, bytes], old: dict[str, bytes], new: dict[str, bytes], job: Job, done: dict[str, Any]) -> str:
    paths = [*job.keeps, *(f"{job.folder}/{path}" for path in below(job.folder, new))]
    if all(now.get(path) == old.get(path) for path in paths):
        kept = "all old"
    elif all(now.get(path) == new[path] for path in paths):
        kept = "all new"
    else:
        kept = "each old or new"
    how = {-9: "killed", 3: "said, exit 3"}.get(done["status"], "went on")
    return f"{kept}, {how}"


KEPT = ("all old", "all new", "each old or new", "the old one whole, put aside")


@pytest.fixture(scope="module", autouse=True)
def report() -> Iterator[None]:
    """The table of faults against outcomes, where PARTGEN_EVIDENCE names a folder for it."""
    yield
    how = "PARTGEN_EVIDENCE=docs/evidence python -m pytest --long tests/robustness/test_crash_safety.py"
    rows = [[name, sum(seen.values()), *(many(seen, kept) for kept in KEPT)] for name, seen in table.items()]
    sums = [sum(column) for column in zip(*(row[1:] for row in rows), strict=True)]
    record("disk-faults", how, ["Job", "Faults", *KEPT], [*rows, ["together", *sums]])


def many(seen: Counter[str], kept: str) -> int:
    """How often it ended so, whatever the fault was and whatever else was said."""
    return sum(n for what, n in seen.items() if what.partition(": ")[2].startswith(kept))
