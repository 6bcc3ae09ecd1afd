"""TOML text to a Profile and back with comments kept; printers, materials and seats as files.

May import: errors, units, findings, model, families.
"""
