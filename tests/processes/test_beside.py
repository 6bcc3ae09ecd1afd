"""Calls made by another process: they give what this one would give, and its loss costs nothing."""

from __future__ import annotations

import operator
import os
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from at_work import long_here, note, who
from cap_models import cap

from partgen.errors import OutsideError
from partgen.export.stl import Expected, expected, read_back, write_stl
from partgen.mesh.build import build_caps
from partgen.processes import beside as module
from partgen.processes.beside import Beside, Task, finish, meanwhile
from partgen.processes.process import receive, send


@pytest.fixture(params=["beside", "here", "lost"])
def beside(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[Beside]:
    """With a process beside this one; with one processor only; with a process that was killed."""
    monkeypatch.setattr(module, "processors", lambda: 1 if request.param == "here" else 2)
    with Beside("colorsys") as one:
        one.start()
        assert (one._process is None) == (request.param == "here")
        if request.param == "lost":
            one._process._child.kill()
        yield one


def test_results_come_in_their_order_whoever_does_the_work(beside: Beside) -> None:
    tasks = [beside.begin(operator.mul, i, 3) for i in range(20)]
    assert [task.result() for task in tasks] == [3 * i for i in range(20)]
    batches = [(i, i + 1) for i in range(37)]
    assert list(beside.share(operator.add, batches)) == [2 * i + 1 for i in range(37)]
    assert list(beside.share(operator.add, [])) == []
    for alone in (0, 5, 99):
        begun = [beside.begin(operator.sub, i, 1) for i in range(12)]
        assert finish(begun, alone=alone) == [i - 1 for i in range(12)]


def test_an_error_is_raised_as_it_would_be_here(beside: Beside) -> None:
    with pytest.raises(ZeroDivisionError):
        beside.begin(operator.floordiv, 1, 0).result()
    with pytest.raises(TypeError):
        finish([beside.begin(operator.neg, 2), beside.begin(operator.neg, "two")], alone=9)  # type: ignore[list-item]
    assert beside.begin(operator.neg, 2).result() == -2  # it goes on after an error


def test_the_work_is_done_by_another_process_and_by_this_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "processors", lambda: 2)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((str(Path(__file__).parent), os.environ.get("PYTHONPATH", ""))))
    with Beside() as beside:
        there = beside.begin(os.getpid).result()
        assert there != os.getpid()
        found = set(beside.share(who, [(0.02,)] * 30))
        assert found == {there, os.getpid()}
        begun = [beside.begin(who, 0.02) for _ in range(30)]
        assert {there, os.getpid()} == set(finish(begun))
        begun = [beside.begin(who, 0.0) for _ in range(3)]
        assert {there} == set(finish(begun, alone=3))


def test_the_other_process_need_not_wait_for_this_one_to_hand_it_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Here a batch takes long, there no time at all: it does two of every three, and could do one of two only."""
    monkeypatch.setattr(module, "processors", lambda: 2)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((str(Path(__file__).parent), os.environ.get("PYTHONPATH", ""))))
    with Beside() as beside:
        beside.begin(os.getpid).result()
        done = list(beside.share(long_here, [(os.getpid(), 0.2)] * 12))
    assert done.count(os.getpid()) <= 5


def test_a_message_arrives_as_it_was_sent() -> None:
    """Large arrays, more than a pipe holds; such as do not lie in memory in one piece; and no arrays at all."""
    rng = np.random.default_rng(1)
    fixed = rng.random((3, 4))
    fixed.flags.writeable = False
    odd = {
        "large": rng.random((400_000, 3)),
        "columns": np.asfortranarray(rng.random((50, 7))),
        "every other": np.arange(40)[::2],
        "none": np.zeros((0, 3)),
        "flags": rng.random(9) > 0.5,
        "fixed": fixed,
    }
    inward, outward = os.pipe()
    with os.fdopen(inward, "rb", buffering=0) as source, os.fdopen(outward, "wb") as target:
        threading.Thread(target=lambda: [send(target, 7 + i, m) for i, m in enumerate((odd, "Grüße", None))]).start()
        number, parcel = receive(source)
        back = parcel.opened()
        assert number == 7 and back.keys() == odd.keys()
        for key, array in odd.items():
            assert (
                back[key].dtype == array.dtype and back[key].shape == array.shape and np.array_equal(back[key], array)
            )
        assert len(parcel.pickled) < 2_000  # no array is copied into it but what lies in pieces
        assert [(number, parcel.opened()) for number, parcel in (receive(source), receive(source))] == [
            (8, "Grüße"),
            (9, None),
        ]
        target.close()
        with pytest.raises(EOFError):
            receive(source)


def test_large_arrays_are_worked_on_over_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "processors", lambda: 2)
    with Beside("numpy") as beside:
        large = np.arange(1_000_000.0)
        task = beside.begin(operator.mul, large, 2.0)
        assert np.array_equal(task.result(), 2.0 * large)
        assert not task._found  # not here


def test_what_cannot_travel_is_worked_out_here(beside: Beside) -> None:
    assert callable(beside.begin(operator.attrgetter, "real").result())
    assert next(iter(beside.begin(iter, [7]).result())) == 7


def test_what_was_done_here_is_not_done_there_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """But for the one that the other process had begun."""
    monkeypatch.setattr(module, "processors", lambda: 2)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((str(Path(__file__).parent), os.environ.get("PYTHONPATH", ""))))
    with Beside() as beside:
        beside.begin(os.getpid).result()
        finish([beside.begin(note, str(tmp_path / "work"), 0.05) for _ in range(20)])
        beside.begin(os.getpid).result()  # after all that was begun before
    assert 20 <= len((tmp_path / "work").read_text().split()) <= 21


def test_while_one_answer_is_waited_for_others_are_made_here(beside: Beside) -> None:
    wanted = beside.begin(time.sleep, 600)  # never answered here
    others = [beside.begin(operator.mul, i, 3) for i in range(12)]
    meanwhile(wanted, others, alone=5)
    if beside._process is None or beside._process._child.poll() is None:
        assert [task.ready for task in others] == [False] * 5 + [True] * 7
    assert finish(others) == [3 * i for i in range(12)]


def test_a_call_for_later_is_made_here() -> None:
    assert Task(os.getpid).result() == os.getpid()
    assert not Task(os.getpid).ready


def test_nothing_waits_for_work_whose_result_nobody_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "processors", lambda: 2)
    with Beside() as beside:
        beside.begin(os.getpid).result()
        child = beside._process._child
        beside.begin(time.sleep, 600)
    assert child.poll() == 0  # it ended of itself, and was not killed


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Expected]:
    (built,) = build_caps([cap()])
    path = tmp_path_factory.mktemp("parts") / "a.stl"
    write_stl(built.mesh, path)
    return path, expected(built.mesh, built.volume)


def test_a_sound_file_passes_and_every_fault_is_said(beside: Beside, written: tuple[Path, Expected]) -> None:
    path, wanted = written
    assert beside.begin(read_back, path, wanted).result().volume == pytest.approx(wanted.volume)
    for fault, words in (
        (replace(wanted, facets=wanted.facets + 2), "another number of facets"),
        (replace(wanted, solid=wanted.solid * 1.05), "another volume than the solid"),
        (replace(wanted, bounds=wanted.bounds + 0.01), "another size"),
    ):
        with pytest.raises(OutsideError, match=words):
            finish([beside.begin(read_back, path, wanted), beside.begin(read_back, path, fault)], alone=2)


def test_a_file_that_is_gone_or_cut_short_is_said(
    beside: Beside, written: tuple[Path, Expected], tmp_path: Path
) -> None:
    path, wanted = written
    short = tmp_path / "short.stl"
    short.write_bytes(path.read_bytes()[:-50])
    for bad in (short, tmp_path / "gone.stl"):
        with pytest.raises((OutsideError, FileNotFoundError), match=bad.name):
            beside.begin(read_back, bad, wanted).result()
