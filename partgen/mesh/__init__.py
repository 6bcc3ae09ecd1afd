"""Solids as triangle meshes at a stated tolerance; heights derived exactly; marks added. May import: errors, parts.

`build.Caps` is what the pipeline calls; `records.Mesh` is what checks and exports take.
"""

SHAPES = ".shapes"
"""What the folder of shapes that were built before is called, in the folder of all outputs."""
