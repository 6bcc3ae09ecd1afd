"""The kernel in a process of its own: the same meshes, and an endless or fatal call costs one position only."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from cap_models import ROUND, cap

from partgen.errors import KernelError
from partgen.mesh import apart, heights
from partgen.mesh.build import build_caps
from partgen.mesh.derive import CAP, Maker
from partgen.mesh.records import BuiltCap, digest
from partgen.processes.process import GoneError


@pytest.fixture(autouse=True)
def a_process_that_finds_this_module(monkeypatch: pytest.MonkeyPatch):
    """Started afresh, so that it knows the makers below; ended afterwards, so that nobody else meets it."""
    apart._end()
    here = Path(__file__).parent
    monkeypatch.setenv(
        "PYTHONPATH", os.pathsep.join([str(here), str(here.parent), *filter(None, [os.environ.get("PYTHONPATH")])])
    )
    yield
    apart._end()


def endless(model):  # stands for a Boolean that never comes back
    time.sleep(100)


def fatal(model):  # stands for a crash inside the kernel, which no exception tells of
    os._exit(11)


def unable(model):
    raise KernelError("cap", "this shape has no inside")


ENDLESS, FATAL, UNABLE = Maker(endless), Maker(fatal), Maker(unable)
MODES = pytest.mark.parametrize("abreast", [2, 0], ids=["two at once", "one by one"])


def build_of(model, maker=CAP):
    return apart.ask("build", model, maker).result()


@MODES
def test_the_other_process_makes_the_very_same_mesh(monkeypatch: pytest.MonkeyPatch, abreast: int) -> None:
    monkeypatch.setattr(apart, "_abreast", lambda: abreast)
    models = [cap(height=6.1), cap(ROUND, height=6.1), cap(height=7.1)]
    asked = [apart.ask("build", model, CAP) for model in models]
    for model, far in reversed(list(zip(models, asked, strict=True))):
        near = heights.build(model, CAP)
        assert digest(near.mesh) == digest(far.result().mesh)
        assert near.volume == far.result().volume


def test_shapes_are_built_at_the_same_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two makers that each wait for the other's sign of life: one after the other, neither would end."""
    monkeypatch.setattr(apart, "_abreast", lambda: 2)
    monkeypatch.setenv("PARTGEN_TEST_MEETING", str(tmp_path))
    one, two = (apart.ask("build", cap(height=6.0, mark=name), Maker(meeting)) for name in ("a", "b"))
    assert one.result().mesh.is_closed and two.result().mesh.is_closed


def meeting(model):
    place = Path(os.environ["PARTGEN_TEST_MEETING"])
    (place / model.mark).touch()
    deadline = time.monotonic() + 60
    while len(list(place.iterdir())) < 2:
        if time.monotonic() > deadline:
            raise KernelError("cap", "the other one never came")
        time.sleep(0.01)
    return CAP.solid(model)


@MODES
def test_an_endless_call_is_ended_and_said(monkeypatch: pytest.MonkeyPatch, abreast: int) -> None:
    monkeypatch.setattr(apart, "_abreast", lambda: abreast)
    build_of(cap(height=6.2))  # the process is up, so that only the call itself is timed
    monkeypatch.setattr(apart, "TIME_LIMIT", 1.0)
    start = time.monotonic()
    endless = apart.ask("build", cap(height=6.3), ENDLESS)
    monkeypatch.setattr(apart, "TIME_LIMIT", 120.0)
    after = apart.ask("build", cap(height=6.9), CAP)
    said = "did not finish this shape within 1 s" if abreast else "broke down"
    with pytest.raises(KernelError, match=said):
        endless.result()
    assert after.result().mesh.is_closed
    assert time.monotonic() - start < 60


@MODES
@pytest.mark.parametrize(("maker", "words"), [(FATAL, "broke down"), (UNABLE, "no inside")])
def test_one_bad_shape_leaves_the_others_to_be_built(
    maker: Maker, words: str, abreast: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(apart, "_abreast", lambda: abreast)
    bad, good = cap(ROUND, height=6.4, mark="S1"), cap(height=6.5, mark="S2")
    first, second = build_caps([bad, good], lambda model: maker if model.section == ROUND else CAP)
    assert isinstance(first, KernelError)
    assert first.subject == "S1"
    assert words in first.why
    assert isinstance(second, BuiltCap)


def test_a_shape_that_failed_is_tried_afresh_when_asked_for_again() -> None:
    failed = apart.ask("build", cap(height=6.7), UNABLE)
    with pytest.raises(KernelError, match="no inside"):
        failed.result()
    assert apart.ask("build", cap(height=6.7), UNABLE) is not failed
    first = apart.ask("build", cap(height=6.75), CAP)
    first.result()
    assert apart.ask("build", cap(height=6.75), CAP) is first


def test_without_a_second_process_solids_are_built_in_this_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise OSError("no more processes")

    apart._end()
    monkeypatch.setattr(apart, "Process", refused)
    assert build_of(cap(height=6.6)).mesh.is_closed
    with pytest.raises(KernelError, match="no inside"):
        build_of(cap(height=6.7), UNABLE)


def test_a_kernel_process_that_was_killed_is_replaced() -> None:
    build_of(cap(height=6.05))
    apart._running[0]._child.kill()
    apart._running[0]._child.wait()
    assert build_of(cap(height=6.15)).mesh.is_closed


def test_a_question_that_was_never_heard_is_asked_again_and_is_not_blamed() -> None:
    """The process is gone, and nobody has noticed yet: a shape was once said to have broken the kernel."""
    build_of(cap(height=6.25))
    gone = apart._running[0]
    gone._child.stdin.close()
    with pytest.raises(GoneError) as told:
        gone.ask(("build", cap(height=6.35), CAP, 60.0)).result()
    assert not told.value.over_it
    assert build_of(cap(height=6.35)).mesh.is_closed and apart._running[0] is not gone


def test_nothing_is_left_running_when_the_command_is_killed(tmp_path: Path) -> None:
    """Its kernel process and the children of that end themselves, even one that is at work."""
    code = (
        f"import sys, time; sys.path.insert(0, {str(Path(__file__).parent)!r}); import test_apart;"
        "from cap_models import cap; from partgen.mesh import apart;"
        "asked = apart.ask('build', cap(), test_apart.ENDLESS);"
        "asked._process.started(); print(apart._running[0]._child.pid, flush=True); time.sleep(100)"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as command:
        assert command.stdout is not None
        kernel = int(command.stdout.readline())
        below: list[int] = []
        deadline = time.monotonic() + 30
        while not below:  # until it is at work
            assert time.monotonic() < deadline
            below = [int(pid) for pid in Path(f"/proc/{kernel}/task/{kernel}/children").read_text().split()]
            time.sleep(0.05)
        command.kill()
    deadline = time.monotonic() + 30
    while any(Path(f"/proc/{pid}/cmdline").exists() and running(pid) for pid in (kernel, *below)):
        assert time.monotonic() < deadline
        time.sleep(0.05)


def running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_a_build_loads_no_kernel_in_the_process_that_plans() -> None:
    code = (
        "import sys; from cap_models import cap; from partgen.mesh.build import build_caps;"
        "b, = build_caps([cap(mark='S1', mark_kind='sunk')]); print(b.mesh.is_watertight, 'OCP' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False"]
