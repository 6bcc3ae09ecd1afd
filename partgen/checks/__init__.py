"""Fit and printability measured afresh on the meshes, without trusting the plan.

May import: errors, findings, plan.records, mesh. Returns findings.
"""
