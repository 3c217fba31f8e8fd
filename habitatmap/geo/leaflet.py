"""The library that draws maps in a browser, as it is installed, so that no map asks a server for it."""

from __future__ import annotations

import hashlib
import re
from importlib.resources import files

from habitatmap.errors import HabitatmapError

# Leaflet 1.9.4 as published: the package holds the files of the npm release byte for byte
LEAFLET_SHA256 = {
    "leaflet.js": "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
    "leaflet.css": "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
}


def leaflet() -> tuple[str, str]:
    """Script and style sheet of Leaflet; HabitatmapError where the installed files are not those of release 1.9.4."""
    folder = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
    text = {}
    for name, expected in LEAFLET_SHA256.items():
        content = (folder / name).read_bytes()
        if hashlib.sha256(content).hexdigest() != expected:
            raise HabitatmapError(
                f"{name} of the package django-js-lib-leaflet is not the file of Leaflet 1.9.4: "
                f"install django-js-lib-leaflet 1.9.4.1 again."
            )
        # a browser normalises line ends before it hashes, and leaflet.css has CRLF
        text[name] = content.decode("utf-8").replace("\r\n", "\n")
    script = re.sub(r"\n//# sourceMappingURL=\S+\s*$", "\n", text["leaflet.js"])
    # our page uses neither the stock pin nor the stock layer switch, so their pictures are not carried along
    style = re.sub(r"url\(images/[\w.-]+\)", "none", text["leaflet.css"])
    return script, style.replace("behavior: url(#default#VML);", "")
