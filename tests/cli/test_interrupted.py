"""Ctrl-C once: what was entered is saved, it is said where, the exit code is 130, and starting again goes on."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from partgen.output.coupon_parts import Coupon
from partgen.output.coupon_readings import form
from partgen.profile.coupon_features import features
from partgen.profile.library import find_printer
from partgen.profile.load import load_profile

ANSWERS = {"Weir hut panel": "belong to", "mm": "Unit", "1": "rows", "2": "positions in a row", "20": "along a row"}


def interrupted(folder: Path, *arguments: str, lines: list[str], until: str) -> tuple[int, str]:
    """Run a command, type lines, and send Ctrl-C once it has written `until`; exit code and standard error."""
    with subprocess.Popen(
        [sys.executable, "-m", "partgen", *arguments],
        cwd=folder, stdin=subprocess.PIPE, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL,
    ) as command:  # fmt: skip
        assert command.stdin is not None and command.stderr is not None
        command.stdin.write("".join(f"{line}\n" for line in lines).encode())
        command.stdin.flush()
        said, ends = b"", time.monotonic() + 120
        while until.encode() not in said:
            assert time.monotonic() < ends, said.decode()
            if select.select([command.stderr], [], [], 1)[0]:
                more = os.read(command.stderr.fileno(), 65536)
                assert more, said.decode()
                said += more
        command.send_signal(signal.SIGINT)
        rest = command.communicate(timeout=120)[1]
    return command.returncode, (said + rest).decode()


def run(folder: Path, *arguments: str, typed: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "partgen", *arguments]
    return subprocess.run(command, check=False, cwd=folder, input=typed, capture_output=True, text=True)


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent otherwise there")
def test_start_and_measure_go_on_where_they_were_interrupted(tmp_path):
    profile = tmp_path / "profiles" / "weir.toml"
    code, said = interrupted(tmp_path, "start", "weir", lines=list(ANSWERS), until="The hole's shape")
    assert code == 130 and "Your answers are in profiles/weir.start.json" in said and not profile.exists()
    rest = "\nround 9\n2.0\nround 3\n4\n1\n\n4.31\n\n\n\n\n"  # the first Enter: go on
    done = run(tmp_path, "start", "weir", typed=rest)
    assert done.returncode == 0, done.stderr
    assert load_profile(profile).profile.title == "Weir hut panel"
    assert [one.at for one in load_profile(profile).profile.position] == [(0.0, 0.0), (20.0, 0.0)]
    assert not (tmp_path / "profiles" / "weir.start.json").exists()
    code, said = interrupted(
        tmp_path, "measure", "profiles/weir.toml", lines=["go A2", "4.40", "4.41"], until="reading 3 of 3"
    )
    assert code == 130 and "2 readings saved in profiles/weir.toml" in said
    assert load_profile(profile).profile.position[1].drop.values == (4.40, 4.41)
    taken = run(tmp_path, "undo", "profiles/weir.toml", typed="")
    assert taken.stdout.startswith("Took back: reading 4.41 of A2: drop") and taken.returncode == 0
    assert load_profile(profile).profile.position[1].drop.values == (4.40,)
    run(tmp_path, "undo", "profiles/weir.toml", typed="")
    nothing = run(tmp_path, "undo", "profiles/weir.toml", typed="")
    assert nothing.returncode == 2 and "nothing is recorded" in nothing.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent otherwise there")
def test_calibrate_writes_no_printer_when_interrupted_nor_from_one_feature(tmp_path):
    printer = find_printer("material-extrusion", tmp_path)
    first, second, *_ = features(printer)
    readings = tmp_path / "outputs" / "mine" / "coupon" / "readings.csv"
    readings.parent.mkdir(parents=True)
    readings.write_text(form(Coupon(printer, features(printer), (), "")), encoding="utf-8")
    code, said = interrupted(tmp_path, "calibrate", "mine", lines=[f"{first.nominal:.2f}"] * 3, until=second.name)
    assert code == 130 and "run this again to go on" in said, said
    assert not (tmp_path / "profiles").exists()
    refused = run(tmp_path, "calibrate", "mine", str(readings), typed="")
    assert refused.returncode == 2 and "two features at least" in refused.stderr
    assert not (tmp_path / "profiles").exists()
