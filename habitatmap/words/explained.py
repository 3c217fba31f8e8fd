"""The guide's page on rows set aside, as data: what each reason means, an example, and what to do."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import NamedTuple

from habitatmap.errors.why import Why


class Explanation(NamedTuple):
    """One entry of guide/set_aside.md; `reason` has … for what a file fills in."""

    reason: str
    meaning: str
    example: str
    remedy: str

    @property
    def more(self) -> str:
        """What the guide says of the remedy beyond that of the reason itself, "" for nothing."""
        return self.remedy.partition(". ")[2]


@cache
def explanations() -> dict[str, Explanation]:
    """{name of a `Why`: its explanation}, in the guide's order."""
    text = (files("habitatmap") / "guide" / "set_aside.md").read_text(encoding="utf-8")
    entries = {}
    for entry in re.split(r"^### ", text, flags=re.MULTILINE)[1:]:
        reason, _, meaning = entry.partition("\n")
        about = " ".join(re.split(r"\n## ", meaning)[0].replace("`", "").split())
        meaning, example, remedy = re.split(r"\*For example:\*|\*What to do:\*", about)
        entries[reason] = Explanation(reason, meaning.strip(), example.strip(), remedy.strip())
    headings = {name: re.sub(r"(\{\w+\})+", "…", told.reason) for name, told in Why.__members__.items()}
    return {name: entries[heading] for name, heading in headings.items() if heading in entries}
