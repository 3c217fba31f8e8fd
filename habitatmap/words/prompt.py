"""What a Python prompt or a notebook shows of an area and of a result: a few lines, or a short table.

Any text may come from a record, so in HTML all of it is escaped.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from habitatmap.area import Area
from habitatmap.result import Result
from habitatmap.survey.figures import OccupancyFigures
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.kinds import Kind
from habitatmap.words.names import KIND_NAMES
from habitatmap.words.numbers import at_most, percent, span

Lines = Sequence[Sequence[object]]
SITES_SHOWN = 10


def area_lines(area: Area) -> str:
    """An area in a few lines."""
    return _lines(f"Area {area.title}", _of_area(area))


def area_table(area: Area) -> str:
    """The same as HTML."""
    return _table(f"Area {area.title}", (), _of_area(area))


def result_lines(result: Result) -> str:
    """A result in a few lines."""
    return _lines(f"Result for {result.title}", _of_result(result))


def result_table(result: Result) -> str:
    """The same as HTML, with the first sites of the plan."""
    about = _table(f"Result for {result.title}", (), _of_result(result))
    plan = result.plan.head(SITES_SHOWN)
    if plan.empty:
        return about
    caption = "Suggested sites" + (
        f": the first {len(plan)} of {len(result.plan)}" if len(plan) < len(result.plan) else ""
    )
    figures = [[percent(share, 1) for share in plan[name]] for name in ("gain", "robustness")]
    sites = list(zip(plan["rank"], plan["id"], plan["place"], *figures, strict=True))
    return about + _table(caption, ("rank", "id", "place", "gain", "robustness"), sites)


def _of_area(area: Area) -> Lines:
    grid = area.grid
    counted = [(KIND_NAMES.get(Kind(kind), kind), n) for kind, n in area.ledger.counts().items() if n["read"]]
    return [
        ("as of", area.as_of),
        ("reference system", f"{area.crs.to_string()} ({area.crs.name})"),
        ("frame", f"{grid.rows:,} x {grid.cols:,} cells of {grid.cell_m:g} m"),
        *((name, f"{n['accepted']:,} used, {n['set_aside']:,} set aside") for name, n in counted),
    ]


def _of_result(result: Result) -> Lines:
    figures = result.figures
    reach, plan = figures.forage_in_reach, figures.plan
    return [
        ("as of", figures.as_of),
        ("pools standing", f"{figures.pools_standing:,}"),
        ("estimated occupancy", _occupancy(figures.occupancy)),
        ("forage in reach now", _reach(reach.now, reach.low, reach.high)),
        ("with the plan", _reach(reach.with_plan, reach.with_plan_low, reach.with_plan_high)),
        ("no plan of as many could reach", f"more than {at_most(reach.upper_bound, 1)}"),
        ("suggested sites", f"{plan.pools} of {plan.requested}, objective {plan.objective}"),
        ("gaps", f"{figures.gaps.count}, with {percent(figures.gaps.share)} of the forage"),
    ]


def _occupancy(figures: OccupancyFigures) -> str:
    if figures.known:
        return f"{percent(figures.estimate)} ({span(figures.low, figures.high)})"
    return "too few to estimate" if figures.method is Method.TOO_FEW else "not known"


def _reach(value: float, low: float, high: float) -> str:
    return f"{percent(value, 1)} ({span(low, high, 1)})" if low < high else str(percent(value, 1))


def _lines(title: str, rows: Lines) -> str:
    return "\n".join([title, *(f"  {name}: {value}" for name, value in rows)])


def _table(caption: str, head: Sequence[str], rows: Lines) -> str:
    cells = ["".join(f'<td style="text-align:left">{escape(str(cell))}</td>' for cell in row) for row in rows]
    top = "".join(f"<th>{name}</th>" for name in head)
    lines = "".join(f"<tr>{line}</tr>" for line in ([top] if top else []) + cells)
    return f"<table><caption>{escape(caption)}</caption>{lines}</table>"
