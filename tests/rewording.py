"""The program with every sentence of it in other words: `python -m tests.rewording reworded AREA COMMAND...`.

An import hook reads each module of the package, and puts a mark in front of every sentence in it and other vowels into
its words, before it is compiled. Where logic looks at a sentence, something then comes out otherwise. Prints how the
commands ended and what they said, as JSON; `plain` in place of `reworded` leaves the words as they are.
"""

from __future__ import annotations

import ast
import importlib.machinery
import json
import re
import sys
from collections.abc import Sequence
from types import CodeType, ModuleType

MARK = "¤"
VOWELS = str.maketrans("aeiouAEIOU", "eiouaEIOUA")
ONE_VOWEL = str.maketrans("aeiouAEIOU", "aaaaaAAAAA", MARK)
WORD = r"[a-zA-Z][\w'’-]*[,;:.]?"
SENTENCE = re.compile(rf"{WORD} (\S+ )*?{WORD} (\S+ )*?{WORD}")
# what stands in braces, or after %, is filled in or read by a machine
FILLED_IN = re.compile(r"(\{[^{}]*\}|%\(?\w*\)?[a-z]|&\w+;)")
# methods and functions whose text is no prose: patterns, formats, lists of names, queries
NO_PROSE_FOR = {
    "split",
    "compile",
    "match",
    "search",
    "fullmatch",
    "sub",
    "findall",
    "query",
    "strftime",
    "eval",
    "filled_in",
}
CODE = re.compile(r"</?[a-z]|^[A-Z]{3,} |=>|[{};]\s*$|^[a-z-]+: [^ ]+;|::|\b\w+\(\)|^\w+\.\w|^(?=.*_)[a-z_ ]+$")
# modules and tables of words that people write into their files, and names of other things
EXEMPT_MODULES = {"habitatmap.vocabulary.columns": "headings"}
EXEMPT_TABLES = {
    "_WORDS": "outcomes, in read.visits",
    "_MONTHS": "names of months",
    "_NUMBERS": "numbers in words",
    "_CONDITIONS": "conditions of trees",
    "_UNDEFINED": "genera that are none",
    "_DIRECTIONS": "points of the compass",
    "_CAUSES": "why a pool was lost",
    "_COMPLAINTS": "words of complaint",
    "_NAMED": "reference systems",
    "FAMILIES": "fonts",
    "FACE": "a font",
}


def other_words(text: str) -> str:
    """The same text in words that nothing knows."""
    parts = FILLED_IN.split(text)
    return "".join(part if i % 2 else part.translate(VOWELS) for i, part in enumerate(parts))


def in_one_vowel(text: str) -> str:
    """What a text and the same text in other words have in common."""
    return text.translate(ONE_VOWEL).casefold()


def is_sentence(text: str) -> bool:
    """Whether a text is prose: three words or more, and no code of any kind."""
    return bool(SENTENCE.search(text)) and not CODE.search(text)


class Rewording(ast.NodeTransformer):
    """Puts every sentence of a module into other words. Docstrings, types and values of enums stay."""

    def visit_Constant(self, node: ast.Constant) -> ast.Constant:
        if isinstance(node.value, str) and is_sentence(node.value):
            return ast.copy_location(ast.Constant(MARK + other_words(node.value)), node)
        return node

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.JoinedStr:
        whole = "".join(str(v.value) if isinstance(v, ast.Constant) else "0" for v in node.values)
        for value in node.values:
            if isinstance(value, ast.FormattedValue):
                value.value = self.visit(value.value)  # its format stays
        if is_sentence(whole):
            pieces = [ast.Constant(other_words(v.value)) if isinstance(v, ast.Constant) else v for v in node.values]
            node.values = [ast.Constant(MARK), *pieces]
        return ast.fix_missing_locations(node)

    def visit_Call(self, node: ast.Call) -> ast.Call:
        name = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if name in NO_PROSE_FOR:
            return node
        self.generic_visit(node)
        return node

    def visit_Expr(self, node: ast.Expr) -> ast.Expr:
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.ClassDef:
        if not any("Enum" in ast.unparse(base) for base in node.bases):
            self.generic_visit(node)
        return node

    def visit_Assign(self, node: ast.Assign) -> ast.Assign:
        if not any(isinstance(t, ast.Name) and t.id in EXEMPT_TABLES for t in node.targets):
            node.value = self.visit(node.value)
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AnnAssign:
        if node.value and not (isinstance(node.target, ast.Name) and node.target.id in EXEMPT_TABLES):
            node.value = self.visit(node.value)
        return node

    def visit_arg(self, node: ast.arg) -> ast.arg:
        return node

    def visit_Subscript(self, node: ast.Subscript) -> ast.Subscript:
        if ast.unparse(node.value) != "Literal":
            self.generic_visit(node)
        return node


class Reworded(importlib.machinery.SourceFileLoader):
    """Loads a module with its sentences in other words; compiled code is neither read nor kept."""

    def path_stats(self, path: str) -> dict[str, float]:  # type: ignore[override]
        raise OSError

    def source_to_code(self, data: bytes, path: str, **_more: object) -> CodeType:  # type: ignore[override]
        tree = ast.parse(data)
        return compile(Rewording().visit(tree), path, "exec")


class Finder:
    """Finds the modules of the package as ever, and has them loaded by `Reworded`."""

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if name.split(".")[0] != "habitatmap" or name in EXEMPT_MODULES:
            return None
        spec = importlib.machinery.PathFinder.find_spec(name, path, target)
        if spec and spec.origin and spec.origin.endswith(".py"):
            spec.loader = Reworded(name, spec.origin)
        return spec


if __name__ == "__main__":
    if sys.argv[1] == "reworded":
        sys.meta_path.insert(0, Finder())  # type: ignore[arg-type]
    from tests.commands import habitatmap

    print(json.dumps([habitatmap(command, sys.argv[2]) for command in sys.argv[3:]]))
