"""Where the holes are: openings in a flatbed scan of the panel, with sizes, places and uncertainties.

The image libraries are loaded inside the functions that need them. Nothing here writes to a profile.
"""
