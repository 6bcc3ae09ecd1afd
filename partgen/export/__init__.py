"""Files for printers, print services and CAD: names, STL, 3MF, STEP, and reading them back.

May import: errors, files, mesh, parts.
"""
