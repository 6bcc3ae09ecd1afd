"""The kernel in worker processes: the same meshes, and an endless or fatal call costs one position only."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from cap_models import ROUND, cap

from partgen.core.errors import KernelError
from partgen.core.worker_pool import CONTEXTS, Pool
from partgen.geometry import kernel_pool, tessellated_heights
from partgen.geometry.build_mesh import build_caps
from partgen.geometry.height_derivation import CAP, Maker
from partgen.geometry.kernel_pool import Kernel
from partgen.geometry.mesh_records import BuiltCap, digest


@pytest.fixture(scope="module", params=sorted(CONTEXTS))
def kernel(request: pytest.FixtureRequest) -> Iterator[Kernel]:
    """Two workers, started either way."""
    made = Kernel(request.param, 2)
    made.warm()
    yield made
    made.stop()


def endless(model):  # stands for a Boolean that never comes back
    time.sleep(600)


def fatal(model):  # stands for a crash inside the kernel, which no exception tells of
    os._exit(11)


def unable(model):
    raise KernelError("cap", "this shape has no inside")


def odd(model):  # stands for what the kernel's bindings raise
    raise RuntimeError("Standard_Failure")


def meeting(model):
    place = Path(os.environ["PARTGEN_TEST_MEETING"])
    (place / model.mark).touch()
    deadline = time.monotonic() + 60
    while len(list(place.iterdir())) < 2:
        if time.monotonic() > deadline:
            raise KernelError("cap", "the other one never came")
        time.sleep(0.01)
    return CAP.solid(model)


ENDLESS, FATAL, UNABLE, ODD = Maker(endless), Maker(fatal), Maker(unable), Maker(odd)


def test_a_worker_makes_the_very_same_mesh_whatever_it_made_before(kernel: Kernel) -> None:
    models = [cap(height=6.1), cap(ROUND, height=6.1), cap(height=7.1), cap(height=2.1)]
    asked = [kernel.ask("build", model, CAP) for model in models]
    for model, far in reversed(list(zip(models, asked, strict=True))):
        near = tessellated_heights.build(model, CAP)
        assert digest(near.mesh) == digest(far.result().mesh)
        assert near.volume == far.result().volume


def test_an_endless_call_is_ended_and_said(kernel: Kernel, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel_pool, "TIME_LIMIT", 1.0)
    late = kernel.ask("build", cap(height=6.3, mark="S1"), ENDLESS)
    monkeypatch.undo()
    after = kernel.ask("build", cap(height=6.9), CAP)
    with pytest.raises(KernelError, match="S1: the CAD kernel did not finish this shape within 1 s"):
        late.result()
    assert after.result().mesh.is_closed


@pytest.mark.parametrize(
    ("maker", "words"), [(FATAL, "broke down"), (UNABLE, "no inside"), (ODD, "RuntimeError in the CAD kernel")]
)
def test_one_bad_shape_leaves_the_others_to_be_built(kernel: Kernel, maker: Maker, words: str) -> None:
    bad, good = cap(ROUND, height=6.4, mark="S1"), cap(height=6.5, mark="S2")
    first, second = build_caps([bad, good], lambda model: maker if model.section == ROUND else CAP, kernel)
    assert isinstance(first, KernelError)
    assert first.subject == "S1"
    assert words in first.why
    assert isinstance(second, BuiltCap)


def test_a_shape_that_failed_is_tried_afresh_when_asked_for_again(kernel: Kernel) -> None:
    failed = kernel.ask("build", cap(height=6.7), UNABLE)
    with pytest.raises(KernelError, match="no inside"):
        failed.result()
    assert kernel.ask("build", cap(height=6.7), UNABLE) is not failed
    first = kernel.ask("build", cap(height=6.75), CAP)
    first.result()
    assert kernel.ask("build", cap(height=6.75), CAP) is first


def test_workers_that_were_killed_are_replaced_and_no_shape_is_blamed(kernel: Kernel) -> None:
    kernel.ask("build", cap(height=6.05), CAP).result()
    for worker in list(kernel._began().start()._pool_manager.worker_manager.workers):
        os.kill(worker, signal.SIGKILL)
    assert kernel.ask("build", cap(height=6.15), CAP).result().mesh.is_closed


def test_shapes_are_built_at_the_same_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two makers that each wait for the other's sign of life: one after the other, neither would end."""
    monkeypatch.setenv("PARTGEN_TEST_MEETING", str(tmp_path))
    two = Kernel("spawn", 2)  # started now, so that its workers know the folder
    asked = [two.ask("build", cap(height=6.0, mark=name), Maker(meeting)) for name in ("a", "b")]
    assert all(one.result().mesh.is_closed for one in asked)
    two.stop()


def test_what_a_worker_cannot_find_and_what_has_no_worker_is_built_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise OSError("no more processes")

    def nameless(model):
        return CAP.solid(model)

    alone = Kernel()
    assert alone.ask("build", cap(height=6.6), Maker(nameless)).result().mesh.is_closed
    monkeypatch.setattr(Pool, "start", refused)
    assert alone.ask("build", cap(height=6.6), CAP).result().mesh.is_closed
    with pytest.raises(KernelError, match="no inside"):
        alone.ask("build", cap(height=6.7), UNABLE).result()


@pytest.mark.parametrize("method", sorted(CONTEXTS))
def test_the_process_that_plans_loads_no_kernel_and_its_output_is_its_own(method: str) -> None:
    code = (
        f"import sys; sys.path[:0] = {[str(Path(__file__).parent), str(Path(__file__).parents[1])]!r};"
        "from noisy_maker import NOISY; from cap_models import cap; from partgen.geometry.build_mesh import build_caps;"
        "from partgen.geometry.kernel_pool import Kernel;"
        f"b, = build_caps([cap(mark='S1', mark_kind='sunk')], lambda model: NOISY, Kernel({method!r}));"
        "print(b.mesh.is_watertight, 'OCP' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False"]
