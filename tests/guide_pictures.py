"""Draws the pictures of the guide anew from a demo town: python -m tests.guide_pictures DEMO

DEMO is made by `new DEMO --demo`, then `map`, `sheets`, `report` and `survey`. The picture of the GIS project needs
QGIS (`apt-get install qgis python3-qgis`) and is left as it is where there is none. Look at what was drawn.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import Page, sync_playwright

PICTURES = Path(__file__).parents[1] / "habitatmap" / "guide" / "pictures"
COLOURS = 96  # of a palette: a third of the bytes, and no eye sees it
PAPER_PX = 800
GIS = """
import os, sys
os.environ["QT_QPA_PLATFORM"] = "offscreen"
from qgis.core import *
app = QgsApplication([], False); app.initQgis()
project = QgsProject.instance()
assert project.read(sys.argv[1]), project.error()
page = project.layoutManager().printLayouts()[0]
settings = QgsLayoutExporter.ImageExportSettings(); settings.dpi = 80
QgsLayoutExporter(page).exportToImage(sys.argv[2], settings)
os._exit(0)
"""


def main(demo: Path) -> None:
    """Draws all of them."""
    browser_path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
        page = browser.new_context(offline=True, reduced_motion="reduce").new_page()
        page.set_viewport_size({"width": 1280, "height": 800})
        keep("map", opened(page, demo / "out" / "map.html").screenshot())
        page.locator("#plan-panel .pick").first.click()
        page.wait_for_load_state("networkidle")
        keep("site", page.screenshot())
        keep("public", opened(page, demo / "out" / "public_map.html").screenshot())
        page.set_viewport_size({"width": 976, "height": 980})
        keep("survey", opened(page, demo / "survey" / "survey.html").screenshot())
        browser.close()
    keep("sheet", sheet(demo / "sheets" / "sites.pdf", 0))
    keep("recording", sheet(demo / "sheets" / "recording.pdf", 0))
    keep("report", sheet(demo / "report" / "report.pdf", 0))
    gis = demo / "gis.png"
    if not subprocess.run(["/usr/bin/python3", "-c", "import qgis.core"], capture_output=True, check=False).returncode:
        project = demo / "out" / "habitatmap.qgz"
        subprocess.run(["/usr/bin/python3", "-c", GIS, project, gis], check=True, env={"PATH": "/usr/bin"})
        keep("gis", gis.read_bytes())


def opened(page: Page, file: Path) -> Page:
    page.goto(file.resolve().as_uri(), wait_until="networkidle")
    return page


def sheet(file: Path, number: int) -> bytes:
    """A page of a PDF as PNG."""
    page = pypdfium2.PdfDocument(file)[number]
    store = io.BytesIO()
    page.render(scale=PAPER_PX / page.get_width()).to_pil().save(store, "PNG")
    return store.getvalue()


def keep(name: str, png: bytes) -> None:
    """Writes a picture small."""
    image = Image.open(io.BytesIO(png)).convert("RGB")
    if image.width > 1280:
        image = image.resize((1280, round(image.height * 1280 / image.width)), Image.Resampling.LANCZOS)
    file = PICTURES / f"{name}.png"
    image.quantize(COLOURS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(file, optimize=True)
    print(f"{file.name}: {file.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
