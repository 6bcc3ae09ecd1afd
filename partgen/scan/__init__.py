"""Where the holes are: openings in a flatbed scan of the panel, with sizes, places and uncertainties.

May import: errors, units, model, metrology.records. The image libraries are an optional extra ("scan"),
loaded inside the functions that need them. Nothing here writes to a profile.
"""
