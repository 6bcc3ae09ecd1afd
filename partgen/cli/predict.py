"""`partgen predict`: plan only, no CAD."""

from __future__ import annotations

from pathlib import Path

import typer

from partgen.cli.common import OUTPUTS, Json, Layer, PrinterName, ProfilePath, Quiet, Seed, UnusedOut


def predict(
    profile: ProfilePath,
    as_json: Json = False,
    printer: PrinterName = None,
    layer: Layer = None,
    seed: Seed = 0,
    out: UnusedOut = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """Heights, clearance, grip and what to measure next, from the readings alone. Builds nothing."""
    from partgen.cli.summary import exit_code, print_document
    from partgen.jobs.plan import plan_profile

    del out  # a plan lands nowhere
    document = plan_profile(Path(profile), printer=printer, seed=seed, layer=layer).document
    if as_json:
        print(document.model_dump_json(indent=2))
    else:
        print_document(document, quiet=quiet)
    raise typer.Exit(exit_code(document))
