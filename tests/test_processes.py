"""Worker processes: started either way, they answer, end when told, and never run the caller's script again."""

from __future__ import annotations

import operator
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest
from pebble import ProcessExpired

from partgen.core import worker_pool
from partgen.core.worker_pool import CONTEXTS, Pool, processors


@pytest.fixture(params=sorted(CONTEXTS))
def pool(request: pytest.FixtureRequest) -> Iterator[Pool]:
    made = Pool(request.param, 1)
    yield made
    made.stop()


def test_a_call_gives_what_it_would_give_here_and_raises_what_it_would_raise(pool: Pool) -> None:
    assert pool.schedule(operator.mul, 6, 7).result() == 42
    assert pool.schedule(os.getpid).result() != os.getpid()
    with pytest.raises(ZeroDivisionError):
        pool.schedule(operator.floordiv, 1, 0).result()


def test_a_late_call_and_a_fatal_one_are_told_apart_and_the_next_is_answered(pool: Pool) -> None:
    late = pool.schedule(time.sleep, 600, timeout=0.2)
    fatal = pool.schedule(os._exit, 3)
    with pytest.raises(TimeoutError):
        late.result()
    with pytest.raises(ProcessExpired):
        fatal.result()
    assert pool.schedule(operator.neg, 2).result() == -2


def test_a_worker_that_was_killed_while_it_had_nothing_to_do_is_replaced(pool: Pool) -> None:
    os.kill(pool.schedule(os.getpid).result(), signal.SIGKILL)
    deadline = time.monotonic() + 30
    while True:  # a call that meets the pool before it has noticed is told so
        try:
            assert pool.schedule(operator.neg, 2).result() == -2
            break
        except BrokenProcessPool:
            assert time.monotonic() < deadline


def test_where_no_process_can_be_had_it_says_so(pool: Pool, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise OSError("no more processes")

    for context in CONTEXTS.values():
        monkeypatch.setattr(context.Process, "start", refused)
    with pytest.raises(OSError, match="no process can be had"):
        pool.schedule(os.getpid)
    monkeypatch.undo()
    assert pool.schedule(operator.neg, 2).result() == -2


@pytest.mark.parametrize("method", sorted(CONTEXTS))
def test_a_script_needs_no_guard_and_nothing_in_its_folder_passes_for_a_module(tmp_path: Path, method: str) -> None:
    """Run a second time in a worker, the script would write a second line; `operator` would be the file here."""
    for name in ("operator.py", "pebble.py", "partgen.py"):
        (tmp_path / name).write_text("raise SystemExit('taken from the current folder')")
    home = tmp_path / "scripts"
    home.mkdir()
    script = home / "script.py"
    script.write_text(
        "import operator\nfrom partgen.core.worker_pool import Pool\nprint('began', flush=True)\n"
        f"print(Pool({method!r}, 1).schedule(operator.mul, 6, 7).result())\n"
    )
    done = subprocess.run([sys.executable, str(script)], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert (done.stdout.split(), done.stderr) == (["began", "42"], "")


@pytest.mark.parametrize("method", sorted(CONTEXTS))
def test_nothing_is_left_running_when_the_command_is_killed(method: str) -> None:
    """Even a worker that is at work ends itself."""
    code = (
        "import os, time; from partgen.core.worker_pool import Pool;"
        f"pool = Pool({method!r}, 1); print(pool.schedule(os.getpid).result(), flush=True);"
        "pool.schedule(time.sleep, 600); time.sleep(600)"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as command:
        assert command.stdout is not None
        worker = int(command.stdout.readline())
        command.kill()
    deadline = time.monotonic() + 30
    while runs(worker):
        assert time.monotonic() < deadline
        time.sleep(0.05)


def runs(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_never_more_workers_than_processors_or_than_pay(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker_pool, "MOST", 1)
    assert processors() == 1
    monkeypatch.setattr(worker_pool, "MOST", 10_000)
    assert 1 <= processors() <= (os.cpu_count() or 1)
