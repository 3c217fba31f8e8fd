"""A private pool moved within its blur square changes no byte of the public page: the whole job, on the demo town."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import habitatmap
from habitatmap.page import map_page, public_page
from habitatmap.paper.pictures import pictures
from habitatmap.privacy import is_private
from tests.demo import demo_area, demo_result


def test_a_private_pool_moved_within_its_square_changes_no_public_byte() -> None:
    area = demo_area()
    pools, side = area.pools.copy(), area.settings.public.blur_m
    at = int(np.flatnonzero(is_private(pools, area.land))[3])
    for name, share in (("x", 0.37), ("y", 0.61)):
        pools.loc[at, name] = (pools.loc[at, name] // side + share) * side
    pools.loc[at, "private"] = "yes"  # by its own column, whatever land the new spot lies on
    before, after = demo_result(), habitatmap.run(replace(area, pools=pools))
    assert public_page(before) == public_page(after)
    assert pictures(before) == pictures(after)
    assert map_page(before) != map_page(after)  # so that the move did matter
