"""The map page: one HTML file that loads nothing else."""

from __future__ import annotations

from habitatmap.show.page.page import map_page, public_page

__all__ = ["map_page", "public_page"]
