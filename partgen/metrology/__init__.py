"""From readings to values with uncertainty: GUM evaluation, and where the panel lies.

Pure computation.
"""
