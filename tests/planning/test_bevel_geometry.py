"""Bevels by plane trigonometry, worked by hand here."""

import math

import numpy as np
import pytest

from edgehold.errors import InputError
from edgehold.planning.geometry import (
    ORDINARY_BEHIND_EDGE_MM,
    THIN_BEHIND_EDGE_MM,
    bevel_height_mm,
    edge_lost_mm,
    steel_removed_mg,
    thickness_after_mm,
)


def test_at_45_degrees_a_bevel_is_as_high_as_half_its_thickness():
    # tan 45° = 1: a right isosceles triangle of base 0.5 is 0.25 high.
    assert bevel_height_mm(0.5, 45) == pytest.approx(0.25, rel=1e-12)


def test_at_30_degrees_the_wedge_is_equilateral():
    # Both sides at 30° to the middle: all angles 60°, so the height is √3/2 of the base.
    assert bevel_height_mm(0.5, 30) == pytest.approx(0.5 * math.sqrt(3) / 2, rel=1e-12)


def test_at_15_degrees_worked_by_hand():
    # tan 15° = 2 − √3 = 0.267949: 0.25 mm / 0.267949 = 0.933013 mm; half that for an edge of half the thickness.
    assert bevel_height_mm(0.5, 15) == pytest.approx(0.933013, abs=1e-6)
    assert bevel_height_mm(THIN_BEHIND_EDGE_MM, 15) == pytest.approx(0.466506, abs=1e-6)


def test_ordinary_and_thin_edges_are_what_the_trade_calls_so():
    # Common practice: 0.5 mm behind the edge is ordinary good cutting geometry, 0.25 mm notably thin.
    assert (ORDINARY_BEHIND_EDGE_MM, THIN_BEHIND_EDGE_MM) == (0.5, 0.25)


def test_the_edge_loses_the_height_of_the_wedge_above_its_flat():
    # A flat of 0.02 mm at 30°: an equilateral triangle of side 0.02, height 0.017321.
    assert edge_lost_mm(0.02, 30) == pytest.approx(0.0173205, abs=1e-7)
    assert edge_lost_mm(0.02, 30) == bevel_height_mm(0.02, 30)


@pytest.mark.parametrize(("angle", "taper", "lost"), [(20, 2, 0.3), (15, 5, 0.1), (30, 0, 0.5)])
def test_the_new_bevel_meets_the_side_of_the_blade_where_two_lines_cross(angle, taper, lost):
    # Bevel: y = (z − d) tan θ. Side: y = T/2 + (z − h) tan α. Solved as two equations in y and z.
    t, steep, slight = 0.5, math.tan(math.radians(angle)), math.tan(math.radians(taper))
    height = t / 2 / steep
    y, _ = np.linalg.solve([[1, -steep], [1, -slight]], [-lost * steep, t / 2 - height * slight])
    assert thickness_after_mm(t, angle, lost, taper) == pytest.approx(2 * y, rel=1e-12)


def test_steel_between_two_parallel_bevels_is_a_parallelogram():
    # By the areas of triangles and a rectangle: old cross-section below a line across the blade, minus the new one.
    t, angle, lost, length = 0.5, 20, 0.1, 40
    height = t / 2 / math.tan(math.radians(angle))
    line = height + lost + 1
    old = t * height / 2 + t * (line - height)
    new = t * height / 2 + t * (line - lost - height)
    assert steel_removed_mg(t, lost, length) == pytest.approx(7.8 * (old - new) * length, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: bevel_height_mm(0, 20), "got 0 mm for the thickness behind the edge, wanted more than 0"),
        (lambda: bevel_height_mm(0.5, 90), "got an edge angle of 90 degrees per side, wanted one between 0 and 90"),
        (lambda: edge_lost_mm(-1, 20), "got -1 mm for the width of the flat"),
        (lambda: thickness_after_mm(0.5, 20, 0.1, 20), "got a taper of 20 degrees per side"),
    ],
)
def test_what_is_no_wedge_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
