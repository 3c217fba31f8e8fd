"""An online background, only where it was asked for when the page was made."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from habitatmap.errors import InputError
from habitatmap.page.document import shown


@dataclass(frozen=True)
class Tiles:
    """A server of square map pictures and the credit it asks for. Raises InputError where the address is not fit."""

    url: str
    credit: str

    def __post_init__(self) -> None:
        """Checks the address: what is not plain could loosen the page's policy."""
        if not re.fullmatch(r"https://[A-Za-z0-9.-]+(:\d+)?/[\w./%?&=,+~@{}-]*", self.url):
            raise InputError(
                f"--tiles {shown(self.url)}: expected an address that starts with https://, one server by name and no "
                "spaces, quotes or semicolons: give it as the server's own page shows it."
            )
        fields = re.findall(r"\{([^}]*)\}", self.url)
        if sorted(fields) != ["x", "y", "z"] or re.search("[{}]", re.sub(r"\{[xyz]\}", "", self.url)):
            raise InputError(
                f"--tiles {self.url}: expected {{z}}, {{x}} and {{y}}, each once and nothing else in braces."
            )
        if not self.credit.strip():
            raise InputError("--tiles needs --tiles-credit: the words its server asks to be named with.")

    @property
    def host(self) -> str:
        """The server's name."""
        return urlsplit(self.url).hostname or ""

    @property
    def origin(self) -> str:
        """What the page's policy allows pictures from."""
        return f"https://{urlsplit(self.url).netloc}"
