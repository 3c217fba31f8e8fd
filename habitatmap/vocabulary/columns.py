"""The columns of every kind of table, once: what a column is called, what stands in it, and what its cells may be.

The headings that people write over their columns (headings.toml) are matched by this table, the workbooks of a new
area and the recording sheets are made from it, the frames of the readers have its types, and guide/columns.md is
written from it.
"""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import NamedTuple

from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Condition, Consent, Outcome, SiteState, YesNo

# the first cell of an example row
EXAMPLE = "example, not read"
EXAMPLES = (EXAMPLE, "Beispiel, nicht gelesen", "exemple, non lu", "voorbeeld, niet gelezen")
"""The same in each language of the workbooks."""
TEXT, NUMBER, DATE, WHOLE = "str", "float64", "datetime64[s]", "int64"


class Entry(NamedTuple):
    """How a column looks where it is filled in by hand: in the workbook of a new area, and on a recording sheet."""

    heading: str = ""
    width: int = 0  # of a workbook's column, in characters
    example: str | float | datetime.date | None = None
    bounds: tuple[float, float] | None = None  # of a number
    listed: bool = False  # whether the names of the sheet of names are offered
    paper_cm: float = 0.0  # width on a recording sheet


NOT_FILLED_IN = Entry()


@dataclass(frozen=True)
class Column:
    """One column of one kind of table."""

    name: str
    help: str  # what stands in it, in a sentence
    dtype: str = ""  # in the frame that is read; "" = read into other columns
    entry: Entry = NOT_FILLED_IN
    values: tuple[str, ...] = ()  # what its cells may say, in our words
    strict: bool = False  # whether the workbook refuses any other word
    words_only: bool = False  # nothing is computed from it: a formula that failed there costs its words, not the row
    headings: str = ""  # by language, in the order of preference; "" = in no file, made from other columns

    @property
    def is_date(self) -> bool:
        """Whether its cells are days."""
        return self.dtype == DATE


PLACE = (
    Column("x", "Metres east in the system of the area, or in one that [source_crs] states.", NUMBER),
    Column("y", "Metres north, as x.", NUMBER),
    Column(
        "lon",
        "In decimal degrees, such as 24.94152. Minus west of Greenwich.",
        entry=Entry("longitude", 12, 10.98765, (-180, 180)),
    ),
    Column(
        "lat",
        "In decimal degrees, such as 60.17121. Minus south of the equator.",
        entry=Entry("latitude", 12, 54.32101, (-90, 90)),
    ),
    Column("position", "Both coordinates in one cell, a grid reference, or a shape as WKT, WKB or GeoJSON."),
    Column("system", "The reference system of this row's coordinates, such as EPSG:25832."),
    Column(
        "uncertainty_m",
        "How far off the place may be, in metres, as the telephone says it.",
        NUMBER,
        Entry("accuracy (m)", 10, 5, (0, 100_000)),
    ),
)
SHAPE = replace(PLACE[4], help="The shape as WKT, WKB or GeoJSON, where the file has none of its own.")


def _placed(*kept: str) -> tuple[Column, ...]:
    """The columns that say where a row is, of which the frame keeps these."""
    return tuple(column if column.name in kept else replace(column, dtype="") for column in PLACE)


ADDRESS = (
    Column(
        "address",
        "Street and house number, in either order; postcode and town may stand behind. A row without coordinates is "
        "looked up in paths.* and addresses.*; the address itself is not kept.",
    ),
    Column("street", "The name of the street, where it has a column of its own."),
    Column("house_number", "The number of the house, such as 12, 12 a or 12-14."),
    Column("postcode", "The postcode of the address."),
    Column("city", "The town or village of the address."),
)

CONSENTS = (Consent.YES, Consent.ASK, Consent.NO)
NOTE = Column("note", "Anything else.", TEXT, words_only=True)
PHOTO = Column(
    "photo",
    "Names of files in photos/, parted by ; where there are several. They are shown on the team's page only.",
    TEXT,
    words_only=True,
)
PRIVATE = Column("private", "yes where it stands in a garden or on other private land.", TEXT, values=tuple(YesNo))
FROM = (
    Column("file", "The file that the row was read from.", TEXT),
    Column("row", "The number of the row there, as a spreadsheet program shows it.", WHOLE),
)

_COLUMNS: dict[Kind, tuple[Column, ...]] = {
    Kind.POOLS: (
        Column(
            "pool",
            "The pool's name, as it stands on the pool: P7, Library 2. Each name once.",
            TEXT,
            Entry("pool", 20, EXAMPLE),
        ),
        Column("old_name", "What it was called before. Visits under this name are its own.", TEXT, words_only=True),
        *_placed("x", "y", "uncertainty_m"),
        *ADDRESS,
        Column("set_out", "The day the pool was installed.", DATE, Entry("set out", 12, datetime.date(2024, 4, 2))),
        Column("removed", "The day it was taken in for good. Blank while the pool stands.", DATE, Entry("removed", 12)),
        Column("set_out_first", "The first day it may be, where only a month, season or year is known.", DATE),
        Column("set_out_last", "The last day it may be.", DATE),
        Column("removed_first", "The first day it may have been taken in.", DATE),
        Column("removed_last", "The last day it may have been taken in.", DATE),
        replace(PRIVATE, strict=True, entry=Entry("private", 10, "no")),
        Column(
            "container",
            "A few centimetres of water can drown a small child: narrow, filled with litter, under a fixed grille.",
            TEXT,
            Entry("container", 16, "bucket"),
            values=("bucket", "tub", "half barrel", "bottle", "bag", "other"),
            words_only=True,
        ),
        Column(
            "filling",
            "Clean rain water, and leaf litter from the place itself; no pond water, nothing from another pool.",
            TEXT,
            Entry("filling", 24, "beech litter, sticks"),
            words_only=True,
        ),
        Column(
            "volume_l",
            "How much the container holds, in litres.",
            NUMBER,
            Entry("volume (litres)", 10, 8, (0, 10_000)),
        ),
        Column(
            "shade",
            "How much of the day it lies in shade.",
            TEXT,
            Entry("shade", 10, "half"),
            values=("open", "half", "full"),
            words_only=True,
        ),
        Column(
            "host",
            "Who to ask. A private name or address stays within the team: it is on no public page.",
            TEXT,
            Entry("host", 20),
            words_only=True,
        ),
        Column(
            "consent",
            "What the host has said. no: the pool is due no visit, label or sheet. Blank: the land's own counts.",
            TEXT,
            Entry("consent", 10),
            values=CONSENTS,
        ),
        Column(
            "consent_until",
            "The last day on which the consent holds; after it the pool is due no visit, label or sheet.",
            DATE,
            Entry("consent until", 12),
        ),
        Column("group", "The group whose list it is in, by its folder in groups/; blank: the area's own.", TEXT),
        replace(NOTE, entry=Entry("note", 40, "write your own pools below")),
        PHOTO,
        *FROM,
    ),
    Kind.VISITS: (
        Column(
            "pool",
            "A name from the list of pools. Fill the list on the sheet Pool names.",
            TEXT,
            Entry("pool", 20, EXAMPLE, listed=True, paper_cm=2.0),
        ),
        *_placed(),
        Column("year", "The year of dates that lack one."),
        Column("date", "The day of the visit.", DATE, Entry("date", 12, datetime.date(2024, 6, 15), paper_cm=1.5)),
        Column(
            "outcome",
            "none seen: searched, saw none. Dry, frozen, gone, not reached are no searches. Blank is not none seen.",
            TEXT,
            Entry("outcome", 14, "none seen", paper_cm=3.9),
            values=tuple(Outcome),
            strict=True,
        ),
        Column("water", "no where there was none: the pool was dry."),
        Column(
            "larvae",
            "How many were seen. 10+ or 2-3 are read too. Blank where nobody counted.",
            NUMBER,
            Entry("larvae", 10, 0, (0, 10_000), paper_cm=1.0),
        ),
        Column(
            "taxon",
            "The species or group, where somebody named it, such as Eristalini.",
            TEXT,
            Entry("taxon", 24, paper_cm=1.8),
        ),
        Column(
            "checked",
            "yes where somebody who knows the species saw it or a photo.",
            TEXT,
            Entry("checked", 10, "no", paper_cm=1.1),
            values=tuple(YesNo),
            strict=True,
        ),
        Column(
            "action",
            "What was done to the pool.",
            TEXT,
            Entry("action", 16, "topped up", paper_cm=2.0),
            values=("topped up", "refilled", "moved"),
            words_only=True,
        ),
        Column(
            "observer",
            "Who visited. It is on no public page.",
            TEXT,
            Entry("observer", 20, paper_cm=1.7),
            words_only=True,
        ),
        replace(
            NOTE,
            help="Anything else. Wear gloves, wash your hands. Never work under dead or damaged branches.",
            entry=Entry("note", 40, "write your own visits below", paper_cm=2.6),
        ),
        PHOTO,
        Column(
            "entry",
            "The number that a page for telephones or a form gives each visit. Of several rows with it the one changed "
            "last counts.",
        ),
        Column("changed", "When that entry was changed last."),
        Column("larvae_low", "The least that the count may mean.", NUMBER),
        Column("larvae_high", "The most that the count may mean; infinite where it is open.", NUMBER),
        *FROM,
    ),
    Kind.TREES: (
        *_placed("x", "y"),
        Column("genus", "The genus, as a Latin or a common name.", TEXT),
        Column("species", "The species, as a botanical or a common name.", TEXT),
        Column("common_name", "The common name; it tells the genus where neither genus nor species does."),
        Column(
            "diameter_cm",
            "Diameter of the trunk at breast height, in centimetres unless the heading names a unit.",
            NUMBER,
        ),
        Column("girth_cm", "Girth of the trunk at breast height; becomes a diameter."),
        Column("condition", "Whether the tree is alive, or what it has left.", TEXT, values=tuple(Condition)),
        Column("site_type", "What stands at the site: a tree, a stump, or none; it counts before the condition."),
        Column("felled", "The day it was felled; such a tree is set aside unless it left a stump or a log."),
        *FROM,
    ),
    Kind.LAND: (
        Column(
            "id",
            "What tells this piece of land from all others; where the file has none, one is made of where it lies.",
            TEXT,
        ),
        Column("name", "The name of the land, such as that of a park.", TEXT),
        Column("kind", "What the land is used for.", TEXT),
        Column(
            "consent",
            "What its owner has said to a pool; blank: to be asked.",
            TEXT,
            values=CONSENTS,
        ),
        Column("until", "The last day on which the consent holds.", DATE),
        Column("consent_note", "Why a consent counts as one to be asked for.", TEXT),
        replace(PRIVATE, help="yes where it is private; blank: yes for gardens, homes and allotments, else no."),
        Column("owner", "Who owns the land; not on any public page.", TEXT),
        Column("contact", "How to reach whoever decides; not on any public page.", TEXT),
        Column("condition", "What the consent depends on, such as: not on Sundays.", TEXT),
        replace(NOTE, help="Anything else; not on any public page."),
        Column("said", "What the file of land itself says of the consent, as JSON.", TEXT),
        SHAPE,
        *FROM,
    ),
    Kind.CONSENT: (
        Column("id", "Which piece of land the row is for. Leave it as it is.", TEXT, Entry("id", 20)),
        Column("name", "What the land is called; changed in the file of land.", entry=Entry("name", 30)),
        Column("street", "The nearest named street.", entry=Entry("street", 24)),
        Column("area_ha", "Its size in hectares.", entry=Entry("area_ha", 9)),
        Column("kind", "What the land is used for.", entry=Entry("kind", 16)),
        Column(
            "consent",
            "yes, ask or no: what the owner has said to a pool. It counts before what the file of land says.",
            entry=Entry("consent", 10),
            values=CONSENTS,
        ),
        Column("until", "The last day on which the consent holds. Blank: no end.", entry=Entry("until", 12)),
        Column("owner", "Who owns the land. It is on no public page.", entry=Entry("owner", 24)),
        Column("contact", "How to reach whoever decides. It is on no public page.", entry=Entry("contact", 30)),
        Column("condition", "What the consent depends on, such as: not on Sundays.", entry=Entry("condition", 30)),
        replace(NOTE, dtype="", entry=Entry("note", 40)),
        Column("as_in_land", "What the file of land said when the list was written. Leave it as it is."),
        *FROM,
    ),
    Kind.COMMITTED: (
        Column("name", "The name of the site; it may be blank.", TEXT),
        *_placed("x", "y", "uncertainty_m"),
        *ADDRESS,
        PRIVATE,
        NOTE,
        *FROM,
    ),
    Kind.PLAN_STATUS: (
        Column("id", "Which suggested site the row is for. Leave it as it is.", TEXT, Entry("id", 8)),
        Column("place", "What the place is called.", TEXT, Entry("place", 40)),
        Column("rank", "Its number in the plan of the last map; blank: not in that plan.", entry=Entry("rank", 6)),
        Column(
            "state",
            "to ask, asked, agreed, refused, set out or given up; blank: to ask.",
            TEXT,
            Entry("state", 12),
            values=tuple(SiteState),
        ),
        Column("date", "The day of that, such as 2027-03-31.", DATE, Entry("date", 12)),
        Column("by", "Who asked, or who set the pool out. It is on no public page.", TEXT, Entry("by", 20)),
        replace(NOTE, entry=Entry("note", 40)),
        Column(
            "lon",
            "Where the site is, in degrees; on private land the middle of its square. Leave it as it is.",
            NUMBER,
            Entry("lon", 11),
        ),
        Column("lat", "The same: degrees north.", NUMBER, Entry("lat", 11)),
        replace(PRIVATE, help="yes where the site is on private land. Leave it as it is.", entry=Entry("private", 9)),
        *FROM,
    ),
    Kind.ADDRESSES: (
        *(replace(column, dtype=TEXT) for column in ADDRESS[1:]),
        replace(ADDRESS[0], help="Street and house number in one cell, where they have no columns of their own."),
        SHAPE,
        *_placed("uncertainty_m")[:4],
        _placed("uncertainty_m")[-1],
        *FROM,
    ),
    Kind.KEEP_AWAY: (
        Column("kind", "What pools are kept away from, such as school, playground, water, road.", TEXT),
        Column("name", "A name; it is not kept."),
        Column("distance_m", "How far pools keep from it, in metres; blank: the default of its kind.", NUMBER),
        SHAPE,
        *_placed()[:4],
        *FROM,
    ),
}
# words for a pool, and what stands behind or before them in a heading of its name or number, by language
_POOL_WORDS = (
    (
        "pool, container, bucket, vessel, asset",
        "name, id, no, nr, number, code, label, ref",
        "name of, number of, id of",
    ),
    (
        "becken, behalter, tumpel, eimer, teich, gefass, kubel",
        "name, nr, nummer, id, code, bezeichnung, kennung",
        "name, nr, nummer",
    ),
    ("mare, bassin, bac, seau", "nom, no, numero, id, code", "nom, n, no, numero, id, code, identifiant"),
    ("poel, poeltje, emmer, bak, bakje", "naam, nr, nummer, id, code", "naam, nr, nummer"),
    ("charca, balsa, cubo", "nombre, no, numero, id, codigo", "nombre, n, no, numero, id, codigo"),
    ("zbiornik, pojemnik, wiadro, zbiornika, pojemnika", "nazwa, nr, numer, id, kod", "nazwa, nr, numer, id"),
    ("vasca, contenitore, secchio, pozza", "nome, n, numero, id, codice", "nome, n, numero, id, codice"),
    ("behållare, hink, balja, damm, burk, kärl", "namn, nr, nummer, id, kod", "namn, nr, nummer"),
    ("allas, altaan, lammikko, lammikon, ampari, amparin", "nimi, nro, nr, numero, tunnus, id, koodi", "nro, nr"),
)
_ARTICLES = ("", " de", " de la", " du", " del", " der", " des", " van", " van de", " di", " della", " dello", " av")


def _pool_names() -> str:
    """Headings such as Beckennummer, N° de mare, nombre de la charca; the words alone come first."""
    names = [
        "pool, becken, tumpel, eimer, teich, mare, bassin, bac, poel, poeltje, emmer, charca, balsa, cubo, "
        "allas, lammikko, ampari, zbiornik, pojemnik, wiadro, vasca, contenitore, secchio, pozza, behållare, "
        "hink, balja, damm, burk, vesiastia, bakje"
    ]
    for words, behind, before in ((w.split(", "), b.split(", "), f.split(", ")) for w, b, f in _POOL_WORDS):
        names += [f"{word}{gap}{end}" for word in words for end in behind for gap in (" ", "")]
        names += [f"{start}{article} {word}" for start in before for article in _ARTICLES for word in words]
    return f"{', '.join(names)}, bucket, behalternummer"


def _with_headings() -> dict[Kind, tuple[Column, ...]]:
    text = files("habitatmap.vocabulary").joinpath("headings.toml").read_text(encoding="utf-8")
    given: dict[str, dict[str, str]] = tomllib.loads(text.replace("{pool}", _pool_names()))
    return {
        kind: tuple(
            replace(column, headings=(given["any"] | given.get(kind, {})).get(column.name, "")) for column in columns
        )
        for kind, columns in _COLUMNS.items()
    }


COLUMNS = _with_headings()


def dtypes(kind: Kind) -> dict[str, str]:
    """The columns of a frame of this kind with their types, in order."""
    return {column.name: column.dtype for column in COLUMNS[kind] if column.dtype}


def filled_in(kind: Kind, names: str) -> Sequence[Column]:
    """The columns of these names (separated by blanks), in their order."""
    named = {column.name: column for column in COLUMNS[kind]}
    return [named[name] for name in names.split()]
