"""Files for printers and CAD: STL, 3MF, STEP, CSV; each read back after writing.

May import: errors, findings, plan.records, mesh, parts.
"""
