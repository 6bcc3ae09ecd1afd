"""From solids to triangles: tessellation at a stated tolerance, exact derivation of other heights, marks.

May import: errors, findings, plan.records, parts.
"""
