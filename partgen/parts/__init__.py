"""Solids from models: shared outlines, crowns, sockets and marks, put together per family.

May import: errors, planning.records. The CAD kernel is imported here and in mesh and export only.
"""
