"""The map page: one HTML file that loads nothing else."""

from __future__ import annotations

from habitatmap.page.page import map_page, public_page
from habitatmap.page.tiles import Tiles

__all__ = ["Tiles", "map_page", "public_page"]
