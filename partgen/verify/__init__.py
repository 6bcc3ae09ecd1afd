"""Fit and printability, measured afresh on the mesh without trusting the design."""
