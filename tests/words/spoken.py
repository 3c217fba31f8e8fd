"""What is left in English where something is said in another language."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable
from html.parser import HTMLParser

from habitatmap.words.catalogue import Catalogue, catalogue

OTHERS = ("de", "fr", "nl")
# words that another of the languages has too
SHARED = "Latitude longitude Name Plan plan N W start Cause Date Volume"


class Recorder(Catalogue):
    """A catalogue that keeps what it was asked for and did not know, in `unsaid`."""

    unsaid: set[str]

    def look_up(self, template: str) -> str:
        said = super().look_up(template)
        words = re.sub(r"\{\w+\}", "", template)
        if self.sentences and said == template and template not in self.sentences and re.search(r"[a-z]{2}", words):
            self.unsaid.add(template)
        return said


def recorder(language: str) -> Recorder:
    made = Recorder(language, catalogue(language).sentences)
    object.__setattr__(made, "unsaid", set())
    return made


def runs(text: str, length: int) -> set[str]:
    """Every so many words in a row."""
    words = re.findall(r"[^\W\d_]+(?:['’-][^\W\d_]+)*", text)
    return {" ".join(words[i : i + length]) for i in range(len(words) - length + 1)}


def left(english: str, other: str, of_records: Iterable[str] = ()) -> list[str]:
    """Three words in a row that both texts have, without those of records."""
    names = [SHARED, *filter(None, of_records)]
    words = {word for name in names for word in runs(name, 1)}
    both = {run for run in runs(english, 3) & runs(other, 3) if not words.issuperset(run.split())}
    return sorted(run for run in both if not any(" " in name and name in run for name in names))


class _Nodes(HTMLParser):
    """The texts of a page, with those that only a screen reader says."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = tag
        self.texts += [value for name, value in attrs if name in ("aria-label", "title") and value]

    def handle_data(self, data: str) -> None:
        if data.strip() and self.inside != "style":
            self.texts.append(" ".join(data.split()))


def texts_of(page: str) -> list[str]:
    """The visible texts of an HTML page, in their order."""
    nodes = _Nodes()
    nodes.feed(page)
    return nodes.texts


def same_texts(english: str, other: str, of_records: Iterable[str] = ()) -> list[str]:
    """Texts with words in them that two pages share, and no record has."""
    given = {*of_records, *SHARED.split()}
    shared = set(texts_of(english)) & set(texts_of(other))
    return sorted(text for text in shared - given if re.search(r"[^\W\d_]{2}", text))


def templates_in(source: str) -> set[str]:
    """What a module's source says in so many words: the templates of its sentences, and of its counts."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        name = getattr(node.func, "id", "") if isinstance(node, ast.Call) else ""
        if name in ("say", "Sentence") and node.args:
            parts = ast.walk(node.args[0]) if not isinstance(node.args[0], ast.JoinedStr | ast.Call) else ()
            parts = [part for part in parts if not isinstance(part, ast.JoinedStr)]
            keys = {id(part.slice) for part in parts if isinstance(part, ast.Subscript)}
            found |= {
                part.value
                for part in parts
                if isinstance(part, ast.Constant) and isinstance(part.value, str) and id(part) not in keys
            }
        elif name == "count":
            things = [part.value for part in node.args[1:] if isinstance(part, ast.Constant)]
            found |= {f"{{n}} {thing}" for thing in [*things, *(f"{thing}s" for thing in things if not things[1:])]}
    return {text for text in found if re.search("[a-z]{2}", re.sub(r"\{\w+\}", "", text))}


def numbers_in(page: str) -> list[int]:
    """The runs of digits that a page's texts say, in order of size: the same in every language."""
    return sorted(int(digits) for text in texts_of(page) for digits in re.findall(r"\d+", text))


def templates_of_remarks(source: str) -> set[str]:
    """What a reader's source may say: `templates_in`, and every text with a {name} in it that no f-string holds."""
    tree = ast.parse(source)
    strings = [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)]
    within = {id(part) for string in strings for part in ast.walk(string)}
    within |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}  # docstrings
    texts = (node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and id(node) not in within)
    named = {text for text in texts if isinstance(text, str) and re.search(r"\{[a-z_]+\}", text)}
    return templates_in(source) | {text for text in named if re.search("[a-z]{2}", re.sub(r"\{\w+\}", "", text))}
