"""CAD solids: shared crowns, skirts, sockets and marks. The only place, with mesh and export, for cadquery.

May import: errors, units, findings, model, plan.records.
"""
