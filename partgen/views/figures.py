"""The report's pictures, which another process may draw while the page is written."""

from __future__ import annotations

from dataclasses import dataclass

from partgen.output.result_document import FitDocument
from partgen.views.report_extras import ReportExtras
from partgen.views.thumbnails import Pose, poses
from partgen.views.viewer import View3D, view_3d


@dataclass(frozen=True)
class Drawn:
    """All that takes long to draw."""

    view3d: View3D
    poses: tuple[Pose, ...]


def draw(doc: FitDocument, extras: ReportExtras) -> Drawn:
    """The 3D view and the pictures of each part."""
    return Drawn(view_3d(doc, extras), poses(doc, extras))
