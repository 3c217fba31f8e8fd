"""A page that a notebook shows inline, in a sandbox."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape

PRIVATE = (
    "For the team: this map holds exact places, and so does a notebook that is saved with it. Before you pass the "
    "notebook on, clear its outputs, or show map(public=True)."
)


@dataclass(frozen=True, repr=False)
class InlinePage:
    """A map page as `html`, which a notebook shows in a frame, `height` pixels high; the team's page is private.

    The frame is a sandbox: the page's script runs, but it reaches nothing of the notebook.
    """

    title: str
    html: str = field(repr=False)
    public: bool = False
    height: int = 640

    def __repr__(self) -> str:
        file = "public_map.html" if self.public else "map.html"
        return f"Map of {self.title}: a notebook shows it; the result's write(folder) writes it as {file}"

    def _repr_html_(self) -> str:
        caution = "" if self.public else f"<p><strong>{escape(PRIVATE)}</strong></p>"
        style = f"width:100%;height:{int(self.height)}px;border:1px solid #999"
        return (
            f'{caution}<iframe sandbox="allow-scripts" title="{escape(f"Map of {self.title}")}" style="{style}" '
            f'srcdoc="{escape(self.html)}"></iframe>'
        )
