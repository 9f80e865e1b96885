"""How high a bevel is and how much steel a sharpening takes off: plane trigonometry of a two-sided wedge.

The cross-section is an isosceles triangle: two bevels, each at the angle θ to the middle plane, that begin where the blade is T
thick. Heights are measured along the middle plane, from the edge towards the spine.
"""

from __future__ import annotations

import math

from edgehold.errors import InputError

ORDINARY_BEHIND_EDGE_MM = 0.5  # ordinary good cutting geometry (common practice)
THIN_BEHIND_EDGE_MM = 0.25  # notably thin (common practice)
STEEL_MG_PER_MM3 = 7.8  # density of steel, to two digits


def bevel_height_mm(thickness_mm: float, angle_deg: float) -> float:
    """From the edge up to where the bevel begins: h = T/(2 tan θ).

    Parameters
    ----------
    thickness_mm : T, thickness behind the edge.
    angle_deg : θ, degrees per side.

    Raises
    ------
    InputError
        A thickness that is not above 0, or an angle not between 0 and 90 degrees.
    """
    return _checked(thickness_mm, "thickness behind the edge") / (2 * _tangent(angle_deg))


def edge_lost_mm(flat_mm: float, angle_deg: float) -> float:
    """Height that the edge loses when both bevels are ground until a flat of width f across the apex is gone: f/(2 tan θ).

    Flattening leaves the flat where the wedge is f thick; grinding both bevels parallel to themselves until they meet there
    moves the edge up by the height of a wedge of that thickness.
    """
    return _checked(flat_mm, "width of the flat") / (2 * _tangent(angle_deg))


def thickness_after_mm(thickness_mm: float, angle_deg: float, lost_mm: float, taper_deg: float) -> float:
    """Thickness behind the edge once the edge has gone up by d at the same angle: T + 2d tan θ tan α/(tan θ − tan α).

    The new bevel, half-thickness (z − d) tan θ at height z, meets the blade's side T/2 + (z − h) tan α; T does not change where
    the sides are parallel (α = 0).

    Parameters
    ----------
    thickness_mm, angle_deg : as for `bevel_height_mm`.
    lost_mm : d.
    taper_deg : α, degrees per side at which the blade itself widens above the bevel; below ``angle_deg``.
    """
    steep, slight = _tangent(angle_deg), math.tan(math.radians(taper_deg))
    if not 0 <= slight < steep:
        raise InputError(f"got a taper of {taper_deg:g} degrees per side, wanted one from 0 to below the edge angle, {angle_deg:g}")
    return thickness_mm + 2 * lost_mm * steep * slight / (steep - slight)


def steel_removed_mg(thickness_mm: float, lost_mm: float, length_mm: float) -> float:
    """Steel ground off along a stretch of edge that goes up by d on a blade with parallel sides: density × T × d × length.

    Each side loses the strip between two parallel bevels, a parallelogram of base d and height T/2.
    """
    return STEEL_MG_PER_MM3 * thickness_mm * lost_mm * length_mm


def _checked(value_mm: float, name: str) -> float:
    if not value_mm > 0:
        raise InputError(f"got {value_mm:g} mm for the {name}, wanted more than 0")
    return value_mm


def _tangent(angle_deg: float) -> float:
    if not 0 < angle_deg < 90:
        raise InputError(f"got an edge angle of {angle_deg:g} degrees per side, wanted one between 0 and 90")
    return math.tan(math.radians(angle_deg))
