"""The real command on a pseudo-terminal, driven as a calipers cable drives it, and killed in the middle."""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from partgen.core.files import lock_of
from partgen.profile.load import load_profile

COLUMNS, ROWS = 10, 2
WILD = {16: 0.93, 40: -1.37}  # reading number (from 0): how far off


class Terminal:
    """`partgen measure` on a terminal of its own."""

    def __init__(self, path: Path) -> None:
        main, side = pty.openpty()
        command = [sys.executable, "-m", "partgen", "measure", str(path)]
        self.process = subprocess.Popen(command, stdin=side, stdout=side, stderr=side, close_fds=True)
        os.close(side)
        self.main = main
        self.seen = ""

    def until_prompt(self, seconds: float = 60.0) -> str:
        """Everything that appears up to the next prompt."""
        text, end = "", time.monotonic() + seconds
        while not text.endswith("> "):
            ready, _, _ = select.select([self.main], [], [], max(0.0, end - time.monotonic()))
            if not ready:
                raise TimeoutError(text)
            try:
                data = os.read(self.main, 65536)
            except OSError:  # the other end is closed
                data = b""
            if not data:
                break
            text += data.decode()
        self.seen += text
        return text

    def send(self, digits: str) -> None:
        """As a cable does: the digits one by one, then Enter."""
        for character in digits:
            os.write(self.main, character.encode())
        os.write(self.main, b"\r")

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        os.close(self.main)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """Twenty positions with nothing read but the first drop that a profile needs."""
    at = [f'[[position]]\nlabel = "S{i + 1}"\nat = [{19 * (i % COLUMNS)}, {22 * (i // COLUMNS)}]\npart = "key"\n'
          for i in range(COLUMNS * ROWS)]  # fmt: skip
    path = tmp_path / "bench.toml"
    path.write_text(
        "# kept as it is\n"
        'panel.thickness = [2.02, 2.05, 2.03]\nhole.window = {shape = "round", diameter = [9.0, 9.02, 9.01]}\n'
        'seat.pin = {shape = "round", diameter = [3.0, 3.01, 3.0], length = 4, travel = [2, 2]}\n'
        'part.key = {kind = "button-cap", hole = "window", seat = "pin"}\n\n'
        + "\n".join(at).replace('part = "key"\n', 'part = "key"\ndrop = [4.30] # a first guess\n', 1)
    )
    return path


def asked_for(prompt: str) -> int:
    """The position that a prompt asks for, from 0."""
    line = prompt.splitlines()[-1]
    return int(line[1 : line.index(":")]) - 1


def test_sixty_readings_two_wild_ones_and_a_kill_in_the_middle(bench: Path) -> None:
    rng = np.random.default_rng(1822)
    before = bench.read_text()
    typed: dict[str, list[float]] = {f"S{i + 1}": [] for i in range(COLUMNS * ROWS)}
    questioned = []
    terminal = Terminal(bench)
    prompt = terminal.until_prompt()
    for number in range(60):
        if number == 30:
            terminal.kill()
            saved = load_profile(bench).profile  # whole and valid
            for position in saved.position:
                values = list(position.drop.values) if position.drop is not None else []
                assert values == [4.30][: position.label == "S1"] + typed[position.label]
            terminal = Terminal(bench)
            prompt = terminal.until_prompt()
        i = asked_for(prompt)
        true = 4.30 + 0.31 * (i % COLUMNS) + 0.08 * (i // COLUMNS)
        reading = f"{true + rng.normal(0, 0.02) + WILD.get(number, 0.0):.2f}"
        terminal.send(reading)
        typed[f"S{i + 1}"].append(float(reading))
        prompt = terminal.until_prompt()
        if number in WILD:
            questioned.append("That reading stands out" in prompt)
        else:
            assert "That reading stands out" not in prompt
    assert questioned == [True, True]
    terminal.send("stop")
    terminal.until_prompt()
    assert terminal.process.wait(10) == 0
    profile = load_profile(bench).profile
    for position in profile.position:
        values = list(position.drop.values) if position.drop is not None else []
        assert values == [4.30][: position.label == "S1"] + typed[position.label]
    assert sum(len(values) for values in typed.values()) == 60
    lines = bench.read_text().splitlines()
    assert [line for line in lines if not line.startswith("drop")] == [
        line for line in before.splitlines() if not line.startswith("drop")
    ]
    assert any(line.endswith("# a first guess") for line in lines)


def test_a_kill_while_a_reading_is_being_written_leaves_a_whole_profile(bench: Path) -> None:
    accepted = 0
    for k in range(4):
        terminal = Terminal(bench)
        terminal.until_prompt()
        terminal.send("go S5")
        terminal.until_prompt()
        terminal.send("5.54")
        terminal.until_prompt()
        accepted += 1
        terminal.send("go S5")
        terminal.until_prompt()
        terminal.send("5.54")
        time.sleep(0.004 * k)
        terminal.kill()
        position = load_profile(bench).profile.position[4]
        assert position.drop is not None
        assert len(position.drop.values) in (accepted, accepted + 1)
        accepted = len(position.drop.values)


def test_the_recovered_lock_is_said(bench: Path) -> None:
    lock_of(Path(os.path.realpath(bench))).write_text("partgen (process 1)")
    terminal = Terminal(bench)
    terminal.until_prompt()
    terminal.send("4.31")
    assert "ended without closing" in terminal.until_prompt()
    terminal.kill()


def test_a_pipe_works_like_a_cable_and_the_end_of_it_ends(bench: Path) -> None:
    command = [sys.executable, "-m", "partgen", "measure", str(bench)]
    done = subprocess.run(command, input="4.31\r\n4.29\r\n4.61\r\n", capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stdout == ""
    assert "3 readings saved" in done.stderr
    position = load_profile(bench).profile.position
    assert position[0].drop is not None
    assert position[0].drop.values == (4.3, 4.31, 4.29)


@pytest.mark.parametrize("name", ["not-toml", "unknown-hole", "drop-400"])
def test_a_broken_profile_ends_it_with_2_and_is_left_alone(name: str, tmp_path: Path) -> None:
    source = Path(__file__).resolve().parents[1] / "broken" / f"{name}.toml"
    path = tmp_path / "bench.toml"
    path.write_bytes(source.read_bytes())
    command = [sys.executable, "-m", "partgen", "measure", str(path)]
    done = subprocess.run(command, input="4\n", capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert path.read_bytes() == source.read_bytes()
    assert [p.name for p in tmp_path.iterdir()] == ["bench.toml"]
