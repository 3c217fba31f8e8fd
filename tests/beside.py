"""Data that lie beside the checkout and are no part of it: tests that want them are skipped where they are absent."""

from __future__ import annotations

from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "shared"


def beside(path: str) -> Path:
    """A file or folder of the data beside the checkout."""
    if not (FOLDER / path).exists():
        pytest.skip(f"{path} does not lie beside the checkout")
    return FOLDER / path


def real(path: str) -> Path:
    """The same, of the real places."""
    return beside(f"data/real/{path}")
