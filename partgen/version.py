"""The version, which stands here and nowhere else. May import: nothing."""

__version__ = "0.1.0"
