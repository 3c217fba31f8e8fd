"""What a PDF calls itself."""

from __future__ import annotations

import io

from pypdf import PdfReader


def title_of(pdf: bytes) -> str:
    """The title in the document information, which is that of its XMP and what a window shows in the file's place
    (ISO 32000-1, table 150: DisplayDocTitle)."""
    reader = PdfReader(io.BytesIO(pdf))
    assert reader.metadata is not None
    assert reader.xmp_metadata is not None
    title = reader.metadata.title
    assert title
    assert list(reader.xmp_metadata.dc_title.values()) == [title]
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/DisplayDocTitle"]
    return title
