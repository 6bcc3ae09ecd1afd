"""What to make, decided from the estimate: heights, passages, clearances, sections, sockets.

May import: errors, units, findings, model, metrology. Pure numpy and scipy: no CAD, no files.
"""
