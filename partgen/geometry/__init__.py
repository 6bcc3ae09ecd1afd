"""The parts as solids and meshes: CadQuery builds, trimesh carries."""
