"""`partgen build A.toml B.toml`: wrong input in any of them is found before anything is written."""

from __future__ import annotations

from pathlib import Path

import pytest
from builders import ONE_CAP

from partgen.cli.build import build
from partgen.core.errors import InputError


@pytest.mark.parametrize("second", ["missing.toml", "broken.toml", "other/good.toml", "good.toml"])
def test_nothing_is_written_when_a_later_profile_is_wrong(tmp_path: Path, second: str) -> None:
    """Missing, broken, or of the same name: both would land in outputs/good, one over the other."""
    (tmp_path / "other").mkdir()
    for name, text in (("good", ONE_CAP), ("other/good", ONE_CAP), ("broken", ONE_CAP.replace("11.5", "'x'"))):
        (tmp_path / f"{name}.toml").write_text(text)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputError):
        build([tmp_path / "good.toml", tmp_path / second], out=tmp_path / "out")
    assert sorted(tmp_path.rglob("*")) == before
