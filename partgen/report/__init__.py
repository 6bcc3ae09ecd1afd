"""The fit report: drawings, pictures, HTML, PDF, all from fit.json's content.

May import: errors, units, findings, plan.records.
"""
