"""Where the holes are: openings in a flatbed scan of the panel, with sizes, places and uncertainties.

May import: errors, units, model, metrology.records. The image libraries are
loaded inside the functions that need them. Nothing here writes to a profile.
"""
