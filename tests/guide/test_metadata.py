"""What the project says of itself in several places is the same."""

from __future__ import annotations

import re
import tomllib

from habitatmap import __version__
from tests.guide.walks import GUIDE

ROOT = GUIDE.parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


def test_the_citation_is_of_this_version() -> None:
    cited = dict(re.findall(r"^(\S+): (.+)$", (ROOT / "CITATION.cff").read_text("utf-8"), re.MULTILINE))
    assert cited["version"] == PROJECT["version"] == __version__
    assert cited["license"] == PROJECT["license"]
    assert f"version {__version__}" in (GUIDE / "citing.md").read_text("utf-8")


def test_the_page_on_an_index_points_to_no_file_beside_it() -> None:
    text = PROJECT["readme"]["text"]
    assert len(text) > 500
    assert "](" not in text


def test_pictures_of_the_guide_are_shown_and_small() -> None:
    shown = " ".join(page.read_text("utf-8") for page in (ROOT / "README.md", *GUIDE.glob("*.md")))
    pictures = list((GUIDE / "pictures").iterdir())
    assert {f"pictures/{file.name}" for file in pictures} == set(re.findall(r"pictures/\w+\.png", shown))
    assert sum(file.stat().st_size for file in pictures) < 800_000
