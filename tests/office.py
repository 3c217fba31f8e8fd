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
CSV_AS_GERMAN = "--infilter=CSV:59,34,76,1,,1031,false,true"
"""The same with semicolons, and numbers and days as German programs read them."""


def saved_as(suffix: str, files: Sequence[Path], folder: Path, reading: str = CSV_AS_SENT) -> None:
    """Saves the files as ``suffix`` into the folder, with a profile of its own so that two runs never meet.

    ``reading``: how csv is read."""
    with tempfile.TemporaryDirectory() as home:
        command = ["soffice", f"-env:UserInstallation=file://{home}", "--headless", reading, "--convert-to", suffix]
        subprocess.run([*command, "--outdir", folder, *files], check=True, capture_output=True, timeout=300)
