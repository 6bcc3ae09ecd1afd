"""Mass, support, time and cost from closed forms; the stated time model."""

from __future__ import annotations

import numpy as np
import pytest
from print_cases import PLA, PRINTER

from partgen.output.plates import Wanted, pack
from partgen.output.quantities import PartVolume, plate_data, total

EYE = tuple(np.eye(4).ravel())


def plate(printer=PRINTER, count=10, size=(10.0, 10.0, 8.0)):
    return pack([Wanted(f"S{i}", size, EYE, "#000000", "PLA") for i in range(count)], printer).plates[0]


VOLUMES = {f"S{i}": PartVolume(800.0, 100.0) for i in range(10)}


def test_mass_and_cost_follow_from_volume_density_and_price():
    data = plate_data(plate(), VOLUMES, PRINTER, PLA)
    assert (data.volume, data.support) == pytest.approx((8000.0, 200.0))
    assert data.mass == pytest.approx(8.2 * 1.25)
    assert data.cost == pytest.approx(8.2 * 1.25 * PRINTER.price_per_kg / 1000)


def test_extrusion_time_is_flow_or_least_layer_time_whichever_is_longer():
    data = plate_data(plate(), VOLUMES, PRINTER, PLA)
    layers = 8.0 / 0.2
    assert data.minutes * 60 == pytest.approx(240 + 8200 / (40 * 0.45 * 0.2) + 10 * layers * 0.6)
    small = plate_data(plate(count=1), {"S0": PartVolume(50.0)}, PRINTER, PLA)
    assert small.minutes * 60 == pytest.approx(240 + layers * 8)
    assert "rough" in data.model and "40 mm/s" in data.model


def test_resin_and_powder_take_their_time_per_layer_whatever_lies_on_the_plate():
    for process, start, each in (("vat-photopolymerization", 300, 10), ("powder-bed-fusion", 5400, 15)):
        printer = PRINTER.model_copy(update={"process": process})
        one = plate_data(plate(printer, 1), VOLUMES, printer, PLA)
        ten = plate_data(plate(printer, 10), VOLUMES, printer, PLA)
        assert one.minutes == ten.minutes == pytest.approx((start + 40 * each) / 60)
    assert ten.support == 0.0  # powder carries the parts


def test_plates_add_up():
    data = plate_data(plate(), VOLUMES, PRINTER, PLA)
    both = total([data, data])
    assert both.minutes == pytest.approx(2 * data.minutes) and both.mass == pytest.approx(2 * data.mass)
    assert total([]) is None
