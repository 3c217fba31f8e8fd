"""What costs a run its time, left in the folder of results for the commands that need the same, and read back there.

It is JSON, and every value is made as the type that `Worked` states: nothing in the file names a class or a function,
so a folder that somebody sent can hold wrong figures but can't have anything run.
"""

from __future__ import annotations

import json
import math
import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path

import numpy as np
import pandas as pd

from habitatmap.area import Area
from habitatmap.export.manifest import read_manifest
from habitatmap.read.hashes import UNKNOWN, hash_of_layers, hash_of_program
from habitatmap.result.assembly import versions
from habitatmap.result.findings import Worked
from habitatmap.sentences import Sentence, say

FILE = "stages.json"
OF_OTHERS = frozenset({"archive", "rounds", "sheets"})  # tables of area.toml that no map depends on
OUT_OF_JSON = {"NaN": math.nan, "Infinity": math.inf, "-Infinity": -math.inf}


# --- the record ------------------------------------------------------------------------------------------------------


def record_of(area: Area) -> dict[str, object]:
    """What a run of an area rests on: the day, versions, the program itself, settings, and the inputs' hashes."""
    return {
        "as_of": area.as_of.isoformat(),
        "versions": versions(),
        "program": hash_of_program(),
        "layers": hash_of_layers(),
        "settings": json.loads(area.settings.model_dump_json()),
        "inputs": dict(area.hashes),
    }


def found_before(area: Area, folder: Path) -> tuple[Worked | None, Sentence]:
    """What the last `map` left in `folder`, if it was made from the very same; None and why, else.

    The reason is "" where there was no run that left any.
    """
    earlier = read_manifest(folder)
    if earlier is None or earlier.command != "map" or FILE not in earlier.files:
        return None, Sentence("")
    if why := why_another(record_of(area), earlier.record):
        return None, why
    if not earlier.is_unchanged(folder, FILE):
        return None, say("{file} is not as it was written", file=FILE)
    try:
        return worked_from((folder / FILE).read_text(encoding="utf-8")), Sentence("")
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None, say("{file} can't be read", file=FILE)


def why_another(now: Mapping[str, object], then: Mapping[str, object]) -> Sentence:
    """Why a map with the record `then` is another than one with `now` would be; "" where it is the same."""
    today, before = _for_a_map(now), _for_a_map(then)
    if differs := [name for name in today if name != "inputs" and today[name] != before.get(name)]:
        return Sentence(WHY[differs[0]])
    hashes, earlier = (part if isinstance(part, dict) else {} for part in (now.get("inputs"), then.get("inputs")))
    changed = _changed(hashes, earlier)
    if not changed:
        return Sentence("")
    if changed[0].startswith("--"):
        told = "it was made without {option}" if changed[0] in hashes else "it was made with {option}"
        return say(told, option=changed[0])
    told = "{file} has changed, and {n} more" if changed[1:] else "{file} has changed"
    return say(told, file=changed[0], n=len(changed) - 1)


def _for_a_map(record: Mapping[str, object]) -> dict[str, object]:
    """A record without the settings that only other commands read."""
    settings = record.get("settings")
    if not isinstance(settings, dict):
        return dict(record)
    return {**record, "settings": {name: said for name, said in settings.items() if name not in OF_OTHERS}}


WHY = {
    "as_of": "it was for another day",
    "versions": "other versions of the program or its libraries were used",
    "program": "the program or its layers were other ones",
    "layers": "the program or its layers were other ones",
    "settings": "area.toml has changed",
}


def _changed(now: Mapping[str, str], then: Mapping[str, str]) -> list[str]:
    """The names of files that are new, gone or changed, or that could not be opened."""
    same = {name for name, known in now.items() if known != UNKNOWN and known == then.get(name)}
    return sorted((now.keys() | then.keys()) - same)


# --- to and from JSON ------------------------------------------------------------------------------------------------


def worked_text(worked: Worked) -> str:
    """The content of stages.json."""
    return json.dumps(_plain(worked), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def worked_from(text: str) -> Worked:
    """The same read back. Raises ValueError, KeyError, TypeError or AttributeError where it was changed."""
    found = _made(Worked, json.loads(text))
    if not isinstance(found, Worked):
        raise TypeError(FILE)
    return found


def _plain(value: object) -> object:
    """A value as JSON has it; numbers that JSON lacks by their names."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return {name: _plain(part) for name, part in zip(value._fields, value, strict=True)}
    if isinstance(value, pd.DataFrame):
        return {str(name): _column(value[name]) for name in value.columns}
    if isinstance(value, np.ndarray):
        flat = value.ravel()
        listed = "".join("01"[one] for one in flat.astype(int)) if value.dtype == bool else _plain(flat.tolist())
        return {"shape": list(value.shape), "dtype": str(value.dtype), "values": listed}
    if isinstance(value, Mapping):
        return {str(key): _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else "Infinity" if value > 0 else "-Infinity"
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"{type(value).__name__} has no place in {FILE}")


def _column(column: pd.Series) -> list[object]:
    """The type of a column and its values; text that is missing is null."""
    values = column.tolist()
    if column.dtype in ("object", "str"):
        values = [None if isinstance(value, float) and math.isnan(value) else value for value in values]
    return [str(column.dtype), _plain(values)]


def _made(kind: object, tree: typing.Any) -> object:
    """A value of a type from what `_plain` made of it."""
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (types.UnionType, typing.Union):
        return None if tree is None else _made(next(one for one in inner if one is not type(None)), tree)
    if origin is np.ndarray:
        values = [one == "1" for one in tree["values"]] if tree["dtype"] == "bool" else _numbers(tree["values"])
        return np.array(values, dtype=np.dtype(tree["dtype"])).reshape(tree["shape"])
    if origin in (list, tuple):
        return origin(_made(inner[0], part) for part in tree)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {_made(inner[0], key): _made(inner[1], part) for key, part in tree.items()}
    if kind is pd.DataFrame:
        return _frame(tree)
    if isinstance(kind, type) and (is_dataclass(kind) or hasattr(kind, "_fields")):
        hints = typing.get_type_hints(kind)
        return kind(**{name: _made(hints[name], tree[name]) for name in tree})
    if kind is float:
        return float(OUT_OF_JSON.get(tree, tree))
    if isinstance(kind, type) and (issubclass(kind, Enum) or kind in (int, str, bool)):
        return kind(tree)
    raise TypeError(f"{kind} has no place in {FILE}")


def _frame(columns: Mapping[str, tuple[str, list[object]]]) -> pd.DataFrame:
    made = {}
    for name, (dtype, values) in columns.items():
        if dtype in ("object", "str"):
            made[name] = pd.Series(values, dtype=dtype)
        else:
            made[name] = pd.Series(_numbers(values), dtype=dtype)
    return pd.DataFrame(made, columns=list(columns))


def _numbers(values: list[object]) -> list[object]:
    return [OUT_OF_JSON[value] if isinstance(value, str) else value for value in values]
