"""Start-up: commands against the bare imports that they need."""

from __future__ import annotations

from benchmarks.rows import Row, paired, process, python

PREDICT_NEEDS = "import numpy, pydantic, tomlkit, typer, shapely"


def run() -> list[Row]:
    """`partgen --help` against typer's import, `predict` of the demo against the libraries it computes with."""
    help_ = python("-m", "partgen", "--help")
    predict = python("-m", "partgen", "predict", "profiles/fog-signal-controller.toml", "--json")
    typer, needs = python("-c", "import typer"), python("-c", PREDICT_NEEDS)
    return [
        paired("partgen --help", "import typer", lambda: process(help_).cpu, lambda: process(typer).cpu, 7),
        paired("predict, demo", PREDICT_NEEDS, lambda: process(predict).cpu, lambda: process(needs).cpu),
    ]
