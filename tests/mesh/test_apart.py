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
from partgen.mesh.records import BuiltCap


@pytest.fixture(autouse=True)
def a_process_that_finds_this_module(monkeypatch: pytest.MonkeyPatch):
    """Started afresh, so that it knows the makers below; ended afterwards, so that nobody else meets it."""
    apart._end()
    here = Path(__file__).parent
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(here), str(here.parent)]))
    yield
    apart._end()


def endless(model):  # stands for a Boolean that never comes back
    time.sleep(100)


def fatal(model):  # stands for a crash inside the kernel, which no exception tells of
    os._exit(11)


def unable(model):
    raise KernelError("cap", "this shape has no inside")


ENDLESS, FATAL, UNABLE = Maker(endless), Maker(fatal), Maker(unable)


def test_the_other_process_makes_the_very_same_mesh() -> None:
    model = cap(height=6.1)
    near, far = heights.build(model, CAP), apart.build_of(model, CAP)
    assert near.mesh.digest == far.mesh.digest
    assert near.volume == far.volume


def test_an_endless_call_is_ended_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    apart.build_of(cap(height=6.2), CAP)  # the process is up, so that only the call itself is timed
    monkeypatch.setattr(apart, "TIME_LIMIT", 1.0)
    start = time.monotonic()
    with pytest.raises(KernelError, match="did not finish this shape within 1 s"):
        apart.build_of(cap(height=6.3), ENDLESS)
    assert time.monotonic() - start < 60


@pytest.mark.parametrize(("maker", "words"), [(FATAL, "broke down"), (UNABLE, "no inside")])
def test_one_bad_shape_leaves_the_others_to_be_built(maker: Maker, words: str) -> None:
    bad, good = cap(ROUND, height=6.4, mark="S1"), cap(height=6.5, mark="S2")
    first, second = build_caps([bad, good], lambda model: maker if model.section == ROUND else CAP)
    assert isinstance(first, KernelError)
    assert first.subject == "S1"
    assert words in first.why
    assert isinstance(second, BuiltCap)


def test_without_a_second_process_solids_are_built_in_this_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise OSError("no more processes")

    apart._end()
    monkeypatch.setattr(apart, "_Process", refused)
    assert apart.build_of(cap(height=6.6), CAP).mesh.is_closed
    with pytest.raises(KernelError, match="no inside"):
        apart.build_of(cap(height=6.7), UNABLE)


def test_a_build_loads_no_kernel_in_the_process_that_plans() -> None:
    code = (
        "import sys; from cap_models import cap; from partgen.mesh.build import build_caps;"
        "b, = build_caps([cap(mark='S1', mark_kind='sunk')]); print(b.mesh.is_closed, 'OCP' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False"]
