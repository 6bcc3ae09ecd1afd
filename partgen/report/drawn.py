"""The report's pictures, which another process may draw while the page is written. May import: fit, report.*."""

from __future__ import annotations

from dataclasses import dataclass

from partgen.fit.document import FitDocument
from partgen.report.extras import ReportExtras
from partgen.report.poses import Pose, poses
from partgen.report.viewer import View3D, view_3d


@dataclass(frozen=True)
class Drawn:
    """All that takes long to draw."""

    view3d: View3D
    poses: tuple[Pose, ...]


def draw(doc: FitDocument, extras: ReportExtras) -> Drawn:
    """The 3D view and the pictures of each part."""
    return Drawn(view_3d(doc, extras), poses(doc, extras))
