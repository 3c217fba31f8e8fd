"""The one gate for coordinates: which system they are in, how a person wrote them, how far off they may be.

Nothing is guessed. A system is stated or proven, a writing that fits two places is refused with both, and every
refusal says what to do. Order is always x (east) before y (north), longitude before latitude, as in GIS files.

    systems     reference systems and the way between them
    writing     numbers and angles
    squares     grid references and codes, each a square
    positions   one row's place, from two cells or from one
    slips       swapped, signs and decimal points lost, tested against where the area lies
    columns     the place of every row of a table
"""

from habitatmap.geo.crs import (
    WGS84,
    Source,
    choose_crs,
    crs_label,
    is_metric,
    metres_per_degree,
    metric_crs,
    parse_crs,
    rounding_m,
    shift_m,
    state_crs,
    system_in,
    to_lonlat,
    transform,
    without_system,
)
from habitatmap.read.coordinates.columns import read_points
from habitatmap.read.coordinates.positions import (
    NO_PLACE,
    Point,
    Refusal,
    geometry_of,
    in_words,
    is_geometry,
    locate,
    lonlat_point,
    point_of,
    read_lonlat,
    read_position,
)
from habitatmap.read.coordinates.slips import Box, box_of_rows, is_swapped, near_misses, settle
from habitatmap.read.coordinates.squares import (
    BRITISH_GRID,
    IRISH_GRID,
    british_grid,
    read_british_grid,
    read_irish_grid,
    read_mgrs,
    read_plus_code,
)
from habitatmap.read.coordinates.writing import Number, comma_of, letter_o, read_accuracy, read_angle, read_number

__all__ = [
    "BRITISH_GRID",
    "IRISH_GRID",
    "NO_PLACE",
    "WGS84",
    "Box",
    "Number",
    "Point",
    "Refusal",
    "Source",
    "box_of_rows",
    "british_grid",
    "choose_crs",
    "comma_of",
    "crs_label",
    "geometry_of",
    "in_words",
    "is_geometry",
    "is_metric",
    "is_swapped",
    "letter_o",
    "locate",
    "lonlat_point",
    "metres_per_degree",
    "metric_crs",
    "near_misses",
    "parse_crs",
    "point_of",
    "read_accuracy",
    "read_angle",
    "read_british_grid",
    "read_irish_grid",
    "read_lonlat",
    "read_mgrs",
    "read_number",
    "read_plus_code",
    "read_points",
    "read_position",
    "rounding_m",
    "settle",
    "shift_m",
    "state_crs",
    "system_in",
    "to_lonlat",
    "transform",
    "without_system",
]
