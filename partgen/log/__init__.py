"""Revisions and trials: append-only, atomic. May import: errors, units, findings, model."""
