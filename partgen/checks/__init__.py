"""Fit and printability measured afresh on the meshes, without trusting the plan.

May import: errors, findings, planning.records, mesh. Returns findings.
"""
