"""Every broken profile ends the real commands with 2, one clear message, and nothing written."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from commands import run

from partgen.cli import app

BROKEN = sorted((Path(__file__).resolve().parents[1] / "broken").glob("*.toml"))


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_predict_refuses_it(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["partgen", "predict", str(path), "--json"])
    with pytest.raises(SystemExit) as ended:
        app.main()
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert path.name in said.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["predict", "build", "sheet"])
def test_commands_that_write_refuse_it_too(command: str, tmp_path: Path) -> None:
    copy = tmp_path / "bench.toml"
    copy.write_bytes((BROKEN[0].parent / "unknown-seat.toml").read_bytes())
    done = run(tmp_path, command, str(copy), "--out", str(tmp_path / "out"))
    assert done.returncode == 2
    assert 'did you mean "plunger"' in done.stderr
    assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["bench.toml"]
