"""Files as a real spreadsheet program saves them (LibreOffice, run for this alone)."""

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

import pytest

needs_office = pytest.mark.skipif(shutil.which("soffice") is None, reason="needs LibreOffice")

CSV_AS_SENT = "--infilter=CSV:44,34,76,1"
"""Commas, double quotes, UTF-8, from the first line."""


def saved_as(suffix: str, files: Sequence[Path], folder: Path) -> None:
    """Saves the files as ``suffix`` into the folder, with a profile of its own so that two runs never meet."""
    with tempfile.TemporaryDirectory() as home:
        command = ["soffice", f"-env:UserInstallation=file://{home}", "--headless", CSV_AS_SENT, "--convert-to", suffix]
        subprocess.run([*command, "--outdir", folder, *files], check=True, capture_output=True, timeout=300)
