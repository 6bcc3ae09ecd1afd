"""How the parts lie on the printer: orientation, plates, print data, coupons.

May import: errors, findings, model, planning.records, mesh, checks.
"""
