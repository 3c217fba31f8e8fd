"""`area.toml`: every key has a default, an unknown key is refused with the nearest known one.

The texts in `Field(description=...)` say what is expected; they are shown to the user word for word.
"""

from __future__ import annotations

import datetime
import difflib
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from habitatmap.errors import InputError
from habitatmap.errors.system import HELD
from habitatmap.vocabulary.darwin_core import Licence
from habitatmap.vocabulary.kinds import OLD_NAMES
from habitatmap.vocabulary.terms import Consent, FoundFrom, Mosquitoes, Objective, ShareBy, SlopeUnit
from habitatmap.vocabulary.window import Window

FILE_NAME = "area.toml"
# keys of an earlier version, and what they are called today
RENAMED = {f"columns.{old}": f"columns.{new}" for old, new in OLD_NAMES.items()}


def _a_date(value: object) -> object:
    """A TOML date or date-time, or a text such as "2025-06-01"; anything else is left for the type check to refuse."""
    if isinstance(value, datetime.datetime):
        return value.date()
    if isinstance(value, str):
        return datetime.date.fromisoformat(value.strip())
    return value


Metres = Annotated[float, Field(gt=0, description="a number of metres above 0")]
MetresOrNone = Annotated[float, Field(ge=0, description="a number of metres, 0 or more")]
Share = Annotated[float, Field(ge=0, le=1, description="a number from 0 to 1")]
Month = Annotated[int, Field(ge=1, le=12, description="a month number from 1 to 12")]
Probability = Annotated[Literal["model"] | Share, Field(description='"model" or a number from 0 to 1')]
Days = Annotated[int, Field(ge=1, description="a whole number of days, 1 or more")]
Text = Annotated[str, Field(description="a text in quotes")]


class _Part(BaseModel):
    """A table of area.toml: exact types, no unknown key, no nan or inf, never changed after reading."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class LandCoverSettings(_Part):
    """Which file is the land cover and which class table reads it; None = found by name, proven by the file."""

    file: Text | None = None
    classes: Text | None = None


def _a_window(value: object) -> object:
    """A text such as "05-15..08-15" as a Window; anything else is left for the type check to refuse."""
    return Window.read(value) if isinstance(value, str) else value


class SeasonSettings(_Part):
    """The months of forage, which may run over the turn of the year (10 to 3); and the closed part of the year, within
    which a pool is taken to hold larvae all the time or never: None = the calendar year, tested by the searches.
    """

    first_month: Month = 3
    last_month: Month = 10
    closed: Annotated[
        Window | None,
        BeforeValidator(_a_window),
        Field(description='a first and a last day, month first, such as "05-15..08-15" or "09-01..04-30"'),
    ] = None

    @property
    def months(self) -> tuple[int, ...]:
        """Month numbers in order, e.g. 3, 4, ..., 10."""
        return tuple((self.first_month - 1 + i) % 12 + 1 for i in range((self.last_month - self.first_month) % 12 + 1))


class FlightSettings(_Part):
    """Median flights in metres (expert judgement), the longest link, and how near two places are one."""

    forage_median_m: Metres = 250.0
    dispersal_median_m: Metres = 500.0
    link_m: MetresOrNone = 1000.0
    merge_m: MetresOrNone = 30.0


class NearSettings(_Part):
    """From which value on a cell counts as forage, and a cell or tree as dead wood, for distances."""

    forage_from: Share = 0.4
    dead_wood_from: Share = 0.5


class GapSettings(_Part):
    """What counts as a gap: forage of at least this, reached by less than this, on at least this many hectares."""

    reached_below: Share = 0.2
    forage_from: Share = 0.25
    least_ha: Annotated[float, Field(ge=0, description="a number of hectares, 0 or more")] = 0.5


class OccupancySettings(_Part):
    """Probability that a pool holds larvae: estimated, or one number for all; and that a rot-hole tree does."""

    existing: Probability = "model"
    new: Probability = "model"
    trees: Share = 0.3


Sites = Annotated[int, Field(ge=0, description="a whole number of sites, 0 or more")]


class QuotaSettings(_Part):
    """The most suggestions on one parcel of land, of one owner, or of those named; None = no limit."""

    per_place: Sites | None = None
    per_owner: Sites | None = None
    by_name: Annotated[dict[str, Sites], Field(description="sites by the name of a place or an owner")] = {}


Money = Annotated[float, Field(gt=0, description="a number above 0, in the unit of plan.cost_unit")]


class PlanSettings(_Part):
    """How many pools to suggest, or for how much money or time, how far apart, on what land, and to what end."""

    pools: Annotated[int, Field(ge=0, description="a whole number, 0 or more")] = 10
    spacing_m: MetresOrNone = 100.0
    consent: Annotated[
        tuple[Literal[Consent.YES, Consent.ASK], ...],
        Field(strict=False, description='a list of "yes" and "ask" (land with consent "no" is never planned on)'),
    ] = (Consent.YES, Consent.ASK)
    private: Annotated[bool, Field(description="true or false")] = False
    objective: Annotated[
        Objective,
        Field(
            strict=False,
            description='"served" (forage likely served over ten years), "reach" (forage in reach) or "connectivity"',
        ),
    ] = Objective.REACH
    found_from: Annotated[FoundFrom, Field(strict=False, description='"both", "mapped places" or "anywhere"')] = (
        FoundFrom.BOTH
    )
    years: Annotated[int, Field(ge=2, le=20, description="a whole number of years, 2 to 20")] = 10
    budget: Money | None = None
    cost_per_site: Money = 1.0
    cost_by_kind: Annotated[dict[str, Money], Field(description="the cost of a site by kind of land")] = {}
    cost_unit: Text = ""
    quota: QuotaSettings = QuotaSettings()


class SitingSettings(_Part):
    """On what ground no pool can stand, by rasters: the unit of the slopes in steep.*, and what is too steep (expert
    judgement: a vessel slides, and its water runs to one side)."""

    slope_unit: Annotated[SlopeUnit | None, Field(strict=False, description='"degrees" or "percent"')] = None
    steeper_than_deg: Annotated[float, Field(ge=0, lt=90, description="a slope in degrees, 0 to below 90")] = 20.0


class CautionSettings(_Part):
    """What is known about disease-carrying mosquitoes in the area."""

    mosquitoes: Annotated[
        Mosquitoes,
        Field(strict=False, description='"not assessed", "none reported" or "reported"'),
    ] = Mosquitoes.NOT_ASSESSED


class RoundsSettings(_Part):
    """When a pool is due, and who goes. All days are common practice without a source, or expert judgement."""

    visit_days: Days = 28
    dry_days: Days = 7
    first_days: Days = 7
    hot_days: Days = 7
    hot_weeks: Annotated[list[Text], Field(description='a list of weeks, such as ["2026-W28"]')] = []
    extra_visits: Annotated[int, Field(ge=0, description="a whole number, 0 or more")] = 3
    people: Annotated[list[Text], Field(description='a list of names, such as ["Ann", "Ben"]')] = []
    share_by: Annotated[ShareBy, Field(strict=False, description='"last visitor" or "shortest walk"')] = (
        ShareBy.LAST_VISITOR
    )
    path_within_m: MetresOrNone = 250.0
    visit_minutes: Annotated[float, Field(gt=0, le=600, description="minutes at a pool, from above 0 to 600")] = 15.0


class PublicSettings(_Part):
    """Side of the square, in metres, within which private places are not distinguishable."""

    blur_m: Metres = 1000.0


class PrivacySettings(_Part):
    """For how many years after somebody's last visit an observer's name is kept; None = for ever."""

    observers_years: Annotated[int | None, Field(ge=0, description="a whole number of years, 0 or more")] = None


class SheetSettings(_Part):
    """What the crew's sheets and labels say."""

    contact: Text = ""


class ArchiveSettings(_Part):
    """Who gives the searches to a records centre, under which licence, and what they are told of them."""

    licence: Annotated[Licence | None, Field(strict=False, description='"CC0 1.0", "CC BY 4.0" or "CC BY-NC 4.0"')] = (
        None
    )
    publisher: Text = ""
    contact: Text = ""
    country: Annotated[
        str,
        Field(pattern=r"^([A-Z]{2})?$", description='two capital letters of a country (ISO 3166-1), such as "FI"'),
    ] = ""
    about: Text = ""
    protocol: Text = ""
    least_uncertainty_m: Metres = 30.0


class ColumnSettings(_Part):
    """By kind of file: our name of a column = the file's heading."""

    pools: dict[str, Text] = {}
    visits: dict[str, Text] = {}
    trees: dict[str, Text] = {}
    land: dict[str, Text] = {}
    keep_away: dict[str, Text] = {}
    committed: dict[str, Text] = {}
    addresses: dict[str, Text] = {}
    consent: dict[str, Text] = {}
    plan_status: dict[str, Text] = {}
    land_cover: dict[str, Text] = {}


Unit = Annotated[Literal["mm", "cm", "m", "inch", "ft"] | None, Field(description='"cm", "inch", "mm", "m" or "ft"')]


class TreeUnits(_Part):
    """The unit of diameters or girths whose heading names none; None = by their size, where it leaves no doubt."""

    diameter: Unit = None
    girth: Unit = None


class UnitSettings(_Part):
    """Units of measures by kind of file."""

    trees: TreeUnits = TreeUnits()


class Settings(_Part):
    """The whole of area.toml with every default filled in."""

    title: Text = ""
    language: Annotated[str, Field(description='a language of pages and papers, such as "en", "de", "fr" or "nl"')] = (
        "en"
    )
    crs: Annotated[str | None, Field(description='a projected reference system in metres, such as "EPSG:25832"')] = None
    cell_m: Metres = 10.0
    as_of: Annotated[datetime.date | None, BeforeValidator(_a_date), Field(description="a date such as 2025-06-01")] = (
        None
    )
    land_cover: LandCoverSettings = LandCoverSettings()
    season: SeasonSettings = SeasonSettings()
    flight: FlightSettings = FlightSettings()
    near: NearSettings = NearSettings()
    gap: GapSettings = GapSettings()
    occupancy: OccupancySettings = OccupancySettings()
    plan: PlanSettings = PlanSettings()
    keep_away: Annotated[dict[str, MetresOrNone], Field(description="metres by kind")] = {}
    siting: SitingSettings = SitingSettings()
    cautions: CautionSettings = CautionSettings()
    rounds: RoundsSettings = RoundsSettings()
    public: PublicSettings = PublicSettings()
    privacy: PrivacySettings = PrivacySettings()
    sheets: SheetSettings = SheetSettings()
    archive: ArchiveSettings = ArchiveSettings()
    source_crs: Annotated[dict[str, Text], Field(description="a reference system by file name")] = {}
    encoding: Annotated[dict[str, Text], Field(description='an encoding by file name, such as "cp1252"')] = {}
    columns: ColumnSettings = ColumnSettings()
    units: UnitSettings = UnitSettings()
    credits: Annotated[list[Text], Field(description='a list of texts, such as ["© the data\'s makers, licence"]')] = []

    def parts(self, *names: str) -> tuple[object, ...]:
        """These tables or keys, to see later whether one has changed."""
        return tuple(getattr(self, name) for name in names)


def read_settings(folder: Path) -> Settings:
    """The settings of an area folder; all defaults where it has no area.toml.

    Raises InputError with one sentence for each fault, one to a line.
    """
    path = folder / FILE_NAME
    if not path.exists():
        return Settings()
    try:
        found = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as fault:
        raise InputError(f"{FILE_NAME} cannot be opened ({fault.strerror}); {HELD}") from fault
    except UnicodeDecodeError as fault:
        line = fault.object[: fault.start].count(b"\n") + 1
        raise InputError(
            f"{FILE_NAME} line {line} is not UTF-8 text: save the file again with the encoding UTF-8"
        ) from None
    except tomllib.TOMLDecodeError as fault:
        raise InputError(
            f"{FILE_NAME} is not valid TOML: {fault}; texts stand in quotes, each key on its own line"
        ) from None
    return settings_from(found)


def settings_from(found: Mapping[str, object], source: str = f"{FILE_NAME}: ") -> Settings:
    """Settings from the parsed content of area.toml. Raises InputError with one sentence for each fault.

    `source`: how a sentence begins, where the content is not the file's."""
    try:
        return Settings.model_validate(found)
    except ValidationError as faults:
        sentences: dict[tuple[str, ...], str] = {}
        for fault in faults.errors(include_url=False):
            keys, annotation = _keys_and_model(fault["loc"])
            sentences.setdefault(keys, _sentence(keys, annotation, fault["type"], fault["input"]))
        raise InputError("\n".join(source + sentence for sentence in sentences.values())) from None


def with_changes(settings: Settings, changes: Mapping[str, object]) -> Settings:
    """Settings with some keys changed: `plan__pools` is the key pools of [plan]; a table's own keys are added to it.

    None takes a key out, so that its default holds. Raises InputError with the sentence that area.toml would give, but
    for the file's name.
    """
    content: dict[str, object] = settings.model_dump(exclude_unset=True)
    for name, value in changes.items():
        _put(content, name.split("__"), _plain(value))
    return settings_from(content, source="")


def _put(content: dict[str, object], keys: Sequence[str], value: object) -> None:
    """Writes a value where its keys lead, tables into tables; None takes out what stands there."""
    first, *rest = keys
    within = content.get(first)
    table = within if isinstance(within, dict) else {}
    if rest:
        content[first] = table
        _put(table, rest, value)
    elif isinstance(value, Mapping):
        content[first] = table
        for key, part in value.items():
            _put(table, [str(key)], part)
    elif value is None:
        content.pop(first, None)
    else:
        content[first] = value


def _plain(value: object) -> object:
    """A value as TOML knows it: numbers of numpy and pandas as plain ones, tuples as lists."""
    if isinstance(value, Mapping):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(part) for part in value]
    item = getattr(value, "item", None)
    return item() if callable(item) and getattr(value, "ndim", None) == 0 else value


def _keys_and_model(loc: tuple[int | str, ...]) -> tuple[tuple[str, ...], type[_Part]]:
    """The key path of a fault as the user wrote it, and the model that holds its last key.

    pydantic adds list positions and names of union members to its path; what follows the last key is dropped.
    """
    model: type[_Part] = Settings
    for depth, step in enumerate(loc, 1):
        field = model.model_fields.get(str(step))
        part = _part(field.annotation) if field else None
        if part is None:
            free_keys = field is not None and getattr(field.annotation, "__origin__", None) is dict
            return tuple(str(s) for s in loc[: depth + free_keys]), model
        if depth < len(loc):
            model = part
    return tuple(str(s) for s in loc), model


def _part(annotation: object) -> type[_Part] | None:
    return annotation if isinstance(annotation, type) and issubclass(annotation, _Part) else None


def _sentence(keys: tuple[str, ...], model: type[_Part], kind: str, value: object) -> str:
    """One sentence: what was found, where, what was expected, what to do."""
    where = ".".join(keys)
    if kind == "extra_forbidden":
        return f"{where} is not a known key; {_nearest(keys, model)}"
    field = model.model_fields.get(keys[-1])
    if field is None:  # a value below free keys, such as those of [keep_away]
        expected = _expected_below(model.model_fields[keys[-2]].annotation)
    else:
        expected = field.description or f"a table: [{'.'.join(keys)}] on a line of its own, its keys on the lines below"
    return f"{where} is {_shown(value)}; expected {expected}"


def _expected_below(free: object) -> str:
    """What stands behind each key of a dict[str, Annotated[..., Field(description=...)]]."""
    _, value = get_args(free)
    return next(str(about.description) for about in value.__metadata__ if hasattr(about, "description"))


def _shown(value: object) -> str:
    """A value as TOML would write it, cut to a readable length."""
    if isinstance(value, bool):
        return str(value).lower()
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _nearest(keys: tuple[str, ...], model: type[_Part]) -> str:
    """What the user may have meant: the nearest key of the same table, else of any, else the table's keys."""
    here = ".".join([*keys[:-1], ""])
    if new := RENAMED.get(".".join(keys)):
        return f"it is now called {new}"
    names = list(model.model_fields)
    close = difflib.get_close_matches(keys[-1], names, n=1, cutoff=0.6)
    if close:
        return f"did you mean {here}{close[0]}?"
    everywhere = {
        name: f"{part}.{name}"
        for part, field in reversed(Settings.model_fields.items())  # of two tables with such a key the first is meant
        for name in getattr(_part(field.annotation), "model_fields", ())
    } | {name: name for name in Settings.model_fields}
    close = difflib.get_close_matches(keys[-1], list(everywhere), n=1, cutoff=0.75)
    if close:
        return f"did you mean {everywhere[close[0]]}?"
    nearest = max(names, key=lambda name: difflib.SequenceMatcher(None, keys[-1], name).ratio())
    return f"the nearest known key is {here}{nearest}; take the line out or correct it"
