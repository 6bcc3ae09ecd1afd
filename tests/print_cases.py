"""A printer without any error, and a plastic, for tests of what is printed."""

from __future__ import annotations

from partgen.profile.printer_records import Material, Printer, PrintError, PrintErrors

ZERO = PrintError()
PRINTER = Printer(error=PrintErrors(hole=ZERO, peg=ZERO, wall=ZERO, height=ZERO, flare=ZERO))
PLA = Material(
    name="PLA", process="material-extrusion", density=1.25, modulus=2500, strain_limit=0.01, expansion=1e-4,
    soften_by=53, source="test",
)  # fmt: skip
