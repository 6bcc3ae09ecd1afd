"""Drawings, report and sheets, from the result document."""
