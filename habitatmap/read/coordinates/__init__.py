"""The one gate for coordinates: which system they are in, how a person wrote them, how far off they may be.

Nothing is guessed. A system is stated or proven, a writing that fits two positions is refused with both, and every
refusal says what to do. Order is always x (east) before y (north), longitude before latitude, as in GIS files.

    writing     numbers and angles
    squares     grid references and codes, each a square
    positions   one row's position, from two cells or from one
    slips       swapped, signs and decimal points lost, tested against where the area lies
    columns     the position of every row of a table
"""

from habitatmap.read.coordinates.columns import read_points
from habitatmap.read.coordinates.positions import (
    NAMES,
    NO_PLACE,
    Point,
    Points,
    Refusal,
    geometry_of,
    in_words,
    is_geometry,
    locate,
    point_of,
)
from habitatmap.read.coordinates.slips import Box, is_swapped, near_misses, settle
from habitatmap.read.coordinates.writing import comma_of, read_accuracy, read_number

__all__ = [
    "NAMES",
    "NO_PLACE",
    "Box",
    "Point",
    "Points",
    "Refusal",
    "comma_of",
    "geometry_of",
    "in_words",
    "is_geometry",
    "is_swapped",
    "locate",
    "near_misses",
    "point_of",
    "read_accuracy",
    "read_number",
    "read_points",
    "settle",
]
