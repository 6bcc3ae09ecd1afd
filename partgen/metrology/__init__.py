"""From readings to values with uncertainty: GUM evaluation, and where the panel lies.

May import: errors, units, findings, model. Pure computation.
"""
