"""Heights, passage, clearance, section, grip, the next revision: pure computation, no CAD and no files."""
