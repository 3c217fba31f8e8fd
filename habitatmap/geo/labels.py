"""Connected cells of a raster, numbered band by band and joined along the seams."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from habitatmap.geo import scratch

EIGHT = np.ones((3, 3))  # corners join as well as sides


def labelled(mask: NDArray[np.bool_]) -> tuple[NDArray[np.int32], int]:
    """The number of the piece that each cell of `mask` (rows, cols) belongs to, from 1, 0 = none; and how many there
    are. Cells that touch by a side or a corner are one piece; pieces are numbered in the order of their first cells.
    """
    number = scratch.empty(mask.shape, np.int32)
    last, seams, above = 0, [np.empty((2, 0), np.int64)], None
    for band in scratch.bands(mask.shape):
        part, found = label(mask[band], structure=EIGHT)
        number[band] = np.where(part > 0, part + last, 0)
        here = number[band.start].astype(np.int64)
        if above is not None:
            for shift in (-1, 0, 1):
                moved = np.roll(here, shift)
                moved[: max(shift, 0)], moved[len(moved) + min(shift, 0) :] = 0, 0
                both = (above > 0) & (moved > 0)
                seams.append(np.stack([above[both], moved[both]]))
        above, last = number[band.stop - 1].astype(np.int64), last + found
    if last == 0:
        return number, 0
    one, other = np.concatenate(seams, axis=1)
    touching = coo_array((np.ones(len(one), bool), (one, other)), (last + 1, last + 1))
    joined = connected_components(touching, directed=False)[1]
    # numbers in the order of the first cells: that of the lowest number of each piece
    first = np.unique(joined, return_index=True)[1]
    final = np.argsort(np.argsort(first))[joined].astype(np.int32)
    if final[0] or (final != np.arange(last + 1)).any():
        for band in scratch.bands(mask.shape):
            number[band] = final[number[band]]
    return number, len(first) - 1
