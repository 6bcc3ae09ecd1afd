"""The fit document: what `predict --json` prints and fit.json holds, as typed records.

May import: errors, units, findings, model, metrology, planning.
"""
