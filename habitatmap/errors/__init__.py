"""What can go wrong, as one sentence each: what was found, where, what was expected, what to do."""

from __future__ import annotations


class HabitatmapError(Exception):
    """The run could not be done. The text is one sentence for a person; the command line ends with code 2."""

    exit_code = 2


class InputError(HabitatmapError):
    """A file, a key or a value of the user cannot be used."""


class LayerError(InputError):
    """A table in `layers/`, or a class table of the area, is not in order."""


class UnprovenClassesError(InputError):
    """Neither anybody nor the file itself says which class table reads a raster of land cover."""


class CrsError(InputError):
    """A coordinate reference system is missing, unknown, or not in metres."""
