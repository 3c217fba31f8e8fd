"""summary.json: the figures of a run, with their sentences."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from habitatmap.export.formats import json_text, plain
from habitatmap.plan.outlook import Strategy
from habitatmap.plan.served import Share
from habitatmap.read.inputs import Input, added
from habitatmap.read.ledger import Known
from habitatmap.result import Result
from habitatmap.result.figures import Figures, ServedFigures
from habitatmap.words.bases import occupancy_part, seasons_part
from habitatmap.words.cautions import general_cautions
from habitatmap.words.headline import missing_sentences
from habitatmap.words.network import LINK_PROBABILITY, WEIGHT
from habitatmap.words.plan import notes_of, plan_note
from habitatmap.words.sites import refusal_told
from habitatmap.words.where import told_place

RULES = {Strategy.RANDOM: "random", Strategy.EVEN: "even", Strategy.HIGHEST: "highest"}


def summary_of(result: Result) -> dict[str, Any]:
    """The content of summary.json in its order; what is not known is None."""
    figures, told = result.figures, dataclasses.asdict(result.figures)
    plan = told["plan"]
    plan |= plan.pop("spending") or {}
    del plan["shortfall"], plan["lost_most"]
    refusals = [
        {**part, "place": str(told_place(one.place)), "told": str(refusal_told(one, figures.plan))}
        for part, one in zip(plan.pop("refusals"), figures.plan.refusals, strict=True)
    ]
    told |= {
        "inputs": _inputs(figures.inputs),
        "not_used": [{"file": u.file, "sheet": u.sheet, "reason": u.why.reason} for u in figures.not_used],
        "occupancy": occupancy_part(result.findings.survey.known),
        "seasons": seasons_part(figures.seasons),
        "plan": plan | {"refusals": refusals, "note": plan_note(figures.plan)},
        "served": _served(figures.served),
        "network": told["network"]
        | {
            "weight": WEIGHT[figures.network.weight],
            "link_probability": LINK_PROBABILITY[figures.network.link_probability],
        },
        "how_many": [row._asdict() for row in figures.how_many],
        "dominant": [{"class": one.label, "share": one.share, "basis": one.basis} for one in figures.dominant],
        "missing": missing_sentences(figures),
        "land_cover": _land_cover(figures),
        "notes": notes_of(figures),
        "ask_first": {"helpful": result.ask_first.to_dict("records"), "not_worked_out": told.pop("consents_left")},
        "sensitivity": result.sensitivity.to_dict("records"),
        "cautions": general_cautions(result.settings),
    }
    order = (
        *(
            "title",
            "crs",
            "crs_name",
            "cell_m",
            "cells",
            "as_of",
            "intake",
            "inputs",
            "not_used",
            "pools_standing",
            "occupancy",
        ),
        *("seasons", "forage_in_reach", "candidates", "plan", "served", "how_many", "network", "gaps", "ask_first"),
        *("sensitivity", "forage", "missing", "land_cover", "dominant", "notes", "seconds", "versions", "cautions"),
        "credits",
    )
    content: dict[str, Any] = plain({key: told[key] for key in order})
    return content


def _inputs(inputs: Sequence[Input]) -> dict[str, object]:
    """What is known of the rows of each kind, None where it makes no sense for the kind, and each of its files."""
    kinds = dict.fromkeys(one.kind for one in inputs)
    return {kind: _kind([one for one in inputs if one.kind == kind]) for kind in kinds}


def _kind(inputs: Sequence[Input]) -> dict[str, object]:
    told = added(one.known for one in inputs)
    files = [
        {
            "file": one.file,
            "rows": one.rows,
            "used": one.used,
            **{str(what): one.known.get(what) for what in Known},
            "in_map": one.in_frame if Known.PLACE in one.known else None,
            "nearest_km": one.nearest_km,
            "farthest_km": one.farthest_km,
            "units": [unit._asdict() for unit in one.units],
            "not_read": list(one.not_read),
        }
        for one in inputs
    ]
    return {"rows": sum(one.rows for one in inputs), **{str(what): told.get(what) for what in Known}, "files": files}


def _land_cover(figures: Figures) -> dict[str, object] | None:
    """How the land cover was read; its doubts stand among the notes."""
    cover = figures.land_cover
    return None if cover is None else {"name": cover.name, "unmatched": cover.unmatched}


def _served(served: ServedFigures) -> dict[str, object]:
    """Forage likely served, in the words of the file."""
    ends = {
        name: {"now": getattr(served.now, name), "with_plan": getattr(served.with_plan, name)} for name in Share._fields
    }
    rules = {RULES[rule]: share._asdict() for rule, share in served.rules.items()}
    limits = {name: getattr(served, name) for name in ("share_of_limit", "share_of_limit_if_found")}
    return {"years": served.years, **ends, **limits, "rules": rules}


def summary_text(result: Result) -> str:
    """The same as the text of the file."""
    return json_text(summary_of(result))
