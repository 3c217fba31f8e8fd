"""The guide's page on columns, made from their table: python -m habitatmap.vocabulary.dictionary > columns.md"""

from __future__ import annotations

from collections.abc import Iterable

from habitatmap.vocabulary.columns import COLUMNS, PLACE, Column
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.other_tables import OTHER_TABLES
from habitatmap.vocabulary.results import TABLES, Written, meanings

INTRODUCTION = """# Columns

What each table may hold. No column but the place is needed, unless it is said here; columns of your own are left alone.
Headings are matched in nine languages, whatever their case, accents and what stands behind them in brackets; the last
column below has one for some.
Where yours is not among them, name it in area.toml: `[columns.pools]`, then `our name = "your heading"`.
Where a column has words of its own, many others in these languages are understood as well.
"""
ABOUT = {
    Kind.POOLS: "A row for each pool: its name and its place.",
    Kind.VISITS: "A row for each visit: the pool, the date, and the outcome or a count.",
    Kind.TREES: "A row for each tree, stump or log: its place, and its genus or species.",
    Kind.LAND: "A polygon for each piece of land.",
    Kind.CONSENT: "The list `consent.xlsx`: a row for each piece of land, which `new` and `check` write.",
    Kind.PLAN_STATUS: "The list `plan_status.xlsx`: a row for each suggested site, which `map` writes.",
    Kind.COMMITTED: "A row for each site that is decided already: its place.",
    Kind.ADDRESSES: "A point or an outline for each house number; pools without coordinates are placed by them.",
    Kind.KEEP_AWAY: "A shape of any kind for each thing that pools are kept away from.",
}
RESULTS = """
# Columns of the results

What stands in the tables of `out/`: csv files, layers of `habitatmap.gpkg`, and sheets of `results.xlsx`, which have
the headings, rounded numbers, and shares in per cent. Empty is not known. A GIS shows heading and meaning as a field's
alias and comment.
"""
RESULT_HEAD = "| column | heading | unit | what stands in it |\n|---|---|---|---|"
OTHERS = """# Columns of the other commands

What stands in the csv files of `survey`, `rounds` and `outlook`, each in the folder of its command. Empty is not known.
"""
OTHER_HEAD = "| column | what stands in it |\n|---|---|"
HEAD = "| column | what stands in it | its words | headings, for instance |\n|---|---|---|---|"


def data_dictionary() -> str:
    """guide/columns.md, whole."""
    places = {column.name for column in PLACE}
    parts = [
        INTRODUCTION,
        "## The place of a row",
        "",
        _table(column for column in COLUMNS[Kind.POOLS] if column.name in places),
    ]
    for kind, columns in COLUMNS.items():
        own = [column for column in columns if column.name not in places or column.help != _help_of(column.name)]
        parts += ["", f"## {kind}", "", ABOUT[kind], "", _table(column for column in own if column.headings)]
    parts.append(RESULTS)
    for name, table in TABLES.items():
        parts += [f"## {name}", "", *_written(name, table), ""]
    parts.append(OTHERS)
    for name, other in OTHER_TABLES.items():
        rows = [f"| `{column}` | {help_text} |" for column, help_text in other.columns.items()]
        parts += [f"## {name}", "", other.about, "", OTHER_HEAD, *rows, ""]
    return "\n".join(parts).rstrip("\n") + "\n"


def _written(name: str, table: Written) -> list[str]:
    rows = [f"| `{column}` | {one.title} | {one.unit_name} | {one.help} |" for column, one in meanings(name).items()]
    return [f"{table.title}. {table.about}", "", RESULT_HEAD, *rows]


def _help_of(name: str) -> str:
    return next((column.help for column in PLACE if column.name == name), "")


def _table(columns: Iterable[Column]) -> str:
    return "\n".join([HEAD, *map(_row, columns)])


def _row(column: Column) -> str:
    firsts = (words.split(",")[0].strip() for words in column.headings.split(";"))
    headings = dict.fromkeys(" ".join(word.split()) for word in firsts if word)
    return f"| `{column.name}` | {column.help} | {', '.join(column.values)} | {', '.join(headings)} |"


if __name__ == "__main__":
    print(data_dictionary(), end="")
