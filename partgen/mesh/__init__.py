"""Solids as triangle meshes at a stated tolerance; heights derived exactly; marks added. May import: errors, parts.

`build.build_caps` is what the pipeline calls; `records.Mesh` is what checks and exports take.
"""
