"""How the parts lie on the printer: orientation, plates, print data, coupons.

May import: errors, findings, model, plan.records, mesh, checks.
"""
