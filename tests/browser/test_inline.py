"""The map page in a notebook: in its frame it works, and it reaches nothing outside of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from habitatmap.result import InlinePage

REACHES = "() => { try { return Boolean(window.parent.document); } catch { return false; } }"


def test_the_page_works_in_its_frame_and_reaches_nothing_outside(
    visit: Callable[..., Any], tmp_path: Path, team_html: str
) -> None:
    notebook = tmp_path / "notebook.html"
    shown = InlinePage("Town", team_html)._repr_html_()
    notebook.write_text(f'<!DOCTYPE html><html class="ready"><body>{shown}</body></html>', encoding="utf-8")
    page = visit(notebook)
    frame = page.frames[1]
    frame.wait_for_selector("html.ready")
    frame.click("summary >> nth=0")
    assert frame.evaluate(REACHES) is False
    assert page.trouble == []


def test_without_the_sandbox_it_would_reach_outside(visit: Callable[..., Any], tmp_path: Path, team_html: str) -> None:
    notebook = tmp_path / "notebook.html"
    shown = InlinePage("Town", team_html)._repr_html_().replace('sandbox="allow-scripts"', "")
    notebook.write_text(f'<!DOCTYPE html><html class="ready"><body>{shown}</body></html>', encoding="utf-8")
    assert visit(notebook).frames[1].evaluate(REACHES) is True
