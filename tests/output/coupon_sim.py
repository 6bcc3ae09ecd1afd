"""A printer with hidden errors and a person with calipers, for tests: invented, and only for testing.

Hidden: each class's error (drawn from what is usual of the process), a scale error, features and prints that scatter
by 0.005 to 0.015 mm (standard deviation), calipers off by up to their limit inside and outside, readings that
scatter by 0.015 mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partgen.metrology.calibration import CLASSES, REFERENCE
from partgen.profile.coupon_features import CouponReading, Feature, FeatureClass, features
from partgen.profile.fields import Reading
from partgen.profile.panel_records import Caliper
from partgen.profile.printer_records import Printer

CALIPER = Caliper(limit_of_error=0.02, repeatability=0.015)
"""DIN 862: 20 µm for outside readings up to 50 mm, digital."""


@dataclass(frozen=True)
class Hidden:
    """What a simulated printer really does, per class where it differs between classes."""

    printer: Printer
    error: dict[FeatureClass, float]
    feature_sd: dict[FeatureClass, float]
    print_sd: dict[FeatureClass, float]
    scale_xy: float
    scale_z: float
    outside: float
    inside: float

    @classmethod
    def draw(cls, printer: Printer, rng: np.random.Generator) -> Hidden:
        usual = {c: getattr(printer.error, c) for c in CLASSES}
        return cls(
            printer=printer,
            error={c: float(rng.normal(usual[c].value, usual[c].u)) for c in CLASSES},
            feature_sd={c: float(rng.uniform(0.005, 0.015)) for c in CLASSES},
            print_sd={c: float(rng.uniform(0.005, 0.015)) for c in CLASSES},
            scale_xy=float(rng.normal(0, 0.002)),
            scale_z=float(rng.normal(0, 0.001)),
            outside=float(rng.uniform(-1, 1)) * CALIPER.limit_of_error,
            inside=float(rng.uniform(-1, 1)) * CALIPER.limit_of_error,
        )

    def shared(self, kind: FeatureClass, rng: np.random.Generator) -> float:
        """Error that all features of one class share in one new print, at the class's reference size."""
        return self.error[kind] + float(rng.normal(0, self.print_sd[kind]))

    def printed(self, kind: FeatureClass, size: float, shared: float, rng: np.random.Generator) -> float:
        """Printed size of a new feature drawn as `size`, in a print whose shared error is given."""
        scale = self.scale_z if kind == "height" else self.scale_xy
        return size + shared + scale * (size - REFERENCE[kind]) + float(rng.normal(0, self.feature_sd[kind]))

    def coupon(self, rng: np.random.Generator, prints: int = 1, repeats: int = 3) -> list[CouponReading]:
        """Readings of the coupon, printed `prints` times."""
        own = {f.name: float(rng.normal(0, self.feature_sd[f.kind])) for f in features(self.printer)}
        readings = []
        for number in range(prints):
            shared = {c: self.shared(c, rng) for c in CLASSES}
            for feature in features(self.printer):
                size = self._true(feature, shared, own)
                jaws = self.inside if feature.kind == "hole" else self.outside
                shown = tuple(round(size + jaws + float(rng.normal(0, 0.015)), 2) for _ in range(repeats))
                readings.append(CouponReading(str(number + 1), feature, Reading(shown, (0.01,) * repeats)))
        return readings

    def _true(self, feature: Feature, shared: dict[FeatureClass, float], own: dict[str, float]) -> float:
        kind: FeatureClass = "peg" if feature.kind == "flare" else feature.kind
        scale = self.scale_z if kind == "height" else self.scale_xy
        size = feature.nominal + shared[kind] + scale * (feature.nominal - REFERENCE[kind])
        if feature.kind == "flare":  # the tongue's own width, and what flares on both its sides
            return size + own["tongue-top"] + 2 * (shared["flare"] + own[feature.name])
        return size + own[feature.name]
