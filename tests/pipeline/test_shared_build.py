"""A panel of many positions, planned, marked, measured and read back by two processes, is what one makes of it."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path

import pytest
from builders import PANEL

from partgen.pipeline.building import build_profile
from partgen.pipeline.measured import MANY
from partgen.processes import beside
from partgen.processes.beside import Beside, Task

N = MANY + 4
POSITION = '[[position]]\nlabel = "P{i}"\nat = [{x}, {y}]\npart = "key"\ndrop = {drop:.2f}\n'


def panel() -> str:
    """Rows of ten on a plane; invented."""
    rows = [
        POSITION.format(i=i + 1, x=19 * (i % 10), y=22 * (i // 10), drop=4.5 + 0.2 * (i % 10) + 0.1 * (i // 10))
        for i in range(N)
    ]
    return PANEL + "".join(rows)


def files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def how(answer: Future) -> str:
    return "gone" if answer.exception() else answer.result()[0]


def test_two_processes_build_what_one_builds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found, answered = {}, set()
    begin = Beside.begin

    def noted(self: Beside, function, *arguments) -> Task:
        task = begin(self, function, *arguments)
        if task._answer is not None:
            task._answer.add_done_callback(lambda answer: answered.add((function.__name__, how(answer))))
        return task

    monkeypatch.setattr(Beside, "begin", noted)
    for processes in (1, 2):
        assert answered == set()
        monkeypatch.setattr(beside, "processors", lambda n=processes: n)
        home = tmp_path / str(processes)
        home.mkdir()
        (home / "panel.toml").write_text(panel())
        built = build_profile(home / "panel.toml", home / "outputs")
        assert [p.label for p in built.document.positions] == [f"P{i + 1}" for i in range(N)]
        found[processes] = files(built.folder)
    assert {(name, "done") for name in ("_passing", "_all", "_plate", "draw", "read_back")} <= answered
    assert not [name for name, kind in answered if kind == "failed"]
    assert len([name for name in found[1] if name.endswith(".stl")]) == N
    assert found[1].keys() == found[2].keys()
    assert [name for name, data in found[1].items() if found[2][name] != data] == []
