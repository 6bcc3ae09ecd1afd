"""Sphinx configuration. Everything is built offline; `python -m sphinx -W -b html docs build/docs`."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
sys.path.insert(0, str(HERE.parent))

project = "partgen"
author = "the partgen contributors"
copyright = "2026, the partgen contributors"
extensions = ["myst_parser"]
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 3
html_theme = "alabaster"
html_theme_options = {"description": "Replacement caps that fit the first time", "page_width": "1040px"}
html_show_sourcelink = False
html_static_path = ["_static"]
html_css_files = ["site.css"]
exclude_patterns = ["_build"]
