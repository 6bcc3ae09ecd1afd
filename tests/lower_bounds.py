"""partgen's own tests on the oldest versions that pyproject.toml allows, for developers. Not part of the tests.

    python tests/lower_bounds.py                 the core's tests (needs `pip install uv`); about ten minutes
    python tests/lower_bounds.py tests/design -x   other ones

Makes a fresh environment in a temporary folder, with every direct requirement at its lower bound and the tests'
own tools as new as that allows, and leaves nothing behind. Prints the versions first.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CORE = [f"tests/{name}" for name in ("core", "profile", "metrology", "design", "geometry", "verify", "output", "views")]
CORE += ["tests/test_job.py"]


def main() -> int:
    wanted = sys.argv[1:] or CORE
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    tools = project["optional-dependencies"]["test"]
    with tempfile.TemporaryDirectory() as folder:
        python = Path(folder) / "env" / "bin" / "python"

        def uv(*arguments: str) -> str:
            told = subprocess.run(
                [sys.executable, "-m", "uv", *arguments], check=True, stdout=subprocess.PIPE, text=True
            )
            return told.stdout

        uv("venv", "-q", str(python.parents[1]), "--python", sys.executable)
        into = ("--python", str(python))
        uv("pip", "install", "-q", *into, "--resolution", "lowest-direct", "-e", str(ROOT))
        lowest = uv("pip", "freeze", "--exclude-editable", *into)
        print(lowest, flush=True)
        pins = Path(folder) / "lowest.txt"
        pins.write_text(lowest, encoding="utf-8")
        uv("pip", "install", "-q", *into, "-c", str(pins), *tools)
        environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
        return subprocess.run([python, "-m", "pytest", *wanted], cwd=ROOT, env=environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
