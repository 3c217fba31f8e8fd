"""Why a row of somebody's file is set aside, and what to do: a code for each reason, its words in one list.

Readers give a code, with the words of the file that its sentences need; the sentences are made here, when somebody is
told. guide/set_aside.md explains each code; a test holds list, guide and readers together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from habitatmap.sentences import Quantity, Sentence, Value

_DEGREES = "write latitude and longitude in decimal degrees, such as 60.1712 and 24.9415"
_POSITION = "write one position such as 60.1712, 24.9415, or latitude and longitude in two columns"
_SHAPE_TEXT = "write the position as POINT (24.9415 60.1712), longitude first, or in two columns"
_ISO = "write the date as year-month-day, such as 2024-05-03"
_OUTCOME = "write larvae, none seen, dry, frozen, gone or not reached"
_IGNORE = "where it holds no records, say so there in the sheet ignore"
_RETYPE = "open the file in a spreadsheet program, correct the formula or type the value itself, and save it again"
STATE_SYSTEM = 'add to area.toml the line [source_crs] and below it "{file}" = "EPSG:...", with the code of its system'


class Why(Enum):
    """A reason and what to do about it: one plain sentence each, without a full stop, `{words}` of the file in braces.

    `Why.REPEAT.of(row=7, of="")` is the reason with its braces filled; a code without braces is told as it is.
    """

    # --- rows of any table
    HEADING_AGAIN = ("the row repeats the headings", "delete the row, if it is not a record")
    TOTAL_ROW = ("the row is a total, not a record", "delete the row; if a pool has this name, give it another")
    NO_RECORD = ("readings.xlsx says that the row is no record", "nothing")
    LONG_ROW = (
        "the row has more cells than there are headings, so its cells may be shifted",
        "put quotes around a text that contains the character between the cells",
    )
    FORMULA_ERROR = ("the cell holds an error of a formula, and no value", _RETYPE)
    NOT_COMPUTED = ("the cell holds a formula whose result was never stored", _RETYPE)
    REPEAT = ("the row repeats row {row}{of}", "delete one of the two rows")
    SAME_ENTRY = ("the entry stands in row {row}{of} too, changed later or alike", "delete one of the two rows")

    # --- places
    NO_COLUMNS = (
        "{table} has no column of coordinates (its headings are {headings})",
        "add columns lat and lon, or say in area.toml which columns they are, under [columns.pools] or [columns.trees]",
    )
    NO_PLACE = ("the row has no coordinates", _DEGREES)
    HALF_A_PLACE = ("the row has a {given} but no {missing}", _DEGREES)
    LATITUDE_UNREAD = ("the latitude cannot be read", _DEGREES)
    LONGITUDE_UNREAD = ("the longitude cannot be read", _DEGREES)
    SWAPPED_LETTERS = ("latitude and longitude seem to be swapped, by their letters", "swap the two cells")
    LETTER_O = (
        "the letter O is east (Ost) in some languages and west (ouest) in others: {places}",
        "write E or W, or decimal degrees",
    )
    TWO_READINGS = ("the position reads two ways: {places}", _DEGREES)
    ORDER_UNSAID = ("nothing says which of the two numbers is the latitude: {places}", _DEGREES)
    TWO_SLIPS = ("the place lies far from {said_by}, and two slips would explain it ({ways}): {places}", _DEGREES)
    SHORT_CODE = (
        "{code} is a short code, which means another place in every town",
        "write the full code, such as 9GFGQV7J+2W, or latitude and longitude",
    )
    LINK = ("the link holds {found}", _POSITION)
    ZERO_ZERO = ("0, 0 is what programs write for an unknown position", _DEGREES)
    BEYOND_90 = ("a latitude beyond 90 degrees; the two may be swapped", "swap the two cells if so")
    BEYOND = ("more than {limit} degrees; a decimal point may be lost", _DEGREES)
    POSITION_UNREAD = ("the position cannot be read", _POSITION)
    TWO_NUMBERS = ("two numbers beyond the range of degrees, and no system is stated", _POSITION)
    POSITION_BROKEN = ("the position is not well-formed", _SHAPE_TEXT)
    POSITION_EMPTY = ("the position is empty", _SHAPE_TEXT)
    GEOMETRY_EMPTY = ("the row has an empty geometry", "give one point for a row")
    NOT_A_POINT = ("{shape} where a point is expected", "give one point for a row")
    NOT_FINITE = ("the point has no finite coordinates", "give one point for a row")
    METRES_UNSTATED = ("the position is in metres, but no system is stated", STATE_SYSTEM)
    TWO_PLACES_IN_ROW = (
        "the columns of coordinates name two places, {metres} m apart",
        "correct or clear one of the two",
    )
    HALF_IN_METRES = ("the row has no {axis}", "write both in metres, such as 385540.5 and 6671800")
    NOT_METRES = (
        "{axis} is not a number, or one that reads two ways",
        "write both in metres, such as 385540.5 and 6671800",
    )
    ADDRESS_NO_MAP = (
        "the row has an address but no coordinates, and the area has no streets or house numbers to look it up in",
        f"start the area with habitatmap new --osm, or add addresses.* or paths.*; or {_DEGREES}",
    )
    ADDRESS_UNKNOWN = (
        "no street of the area has the name in this address",
        f"correct the name of the street; or {_DEGREES}",
    )
    ADDRESS_MISSPELT = (
        "no street of the area has the name in this address; did you mean {names}?",
        f"correct the name of the street; or {_DEGREES}",
    )
    ADDRESS_TWICE = (
        "the area has this address more than once: {places}",
        f"write the town or the postcode behind the address; or {_DEGREES}",
    )
    ADDRESS_ELSEWHERE = (
        "the area has {street} in {towns} only, and the address says {said}",
        f"write the town as it stands here, or leave it out if this street is meant; or {_DEGREES}",
    )
    UNREACHABLE = ("the place does not exist in the area's coordinate system", "check the coordinates")

    # --- dates
    DATE_UNREAD = ("the date cannot be read", _ISO)
    DATE_NOT_WHOLE = ("the date lacks its day, month or year", _ISO)
    DATE_IMPOSSIBLE = ("there is no such day between 1900 and 2199", _ISO)
    DATE_UNDECIDED = (
        "day and month could be either way round, and nothing in the column decides it",
        f"{_ISO}, or state the order in the heading, such as date (dd/mm/yyyy)",
    )
    DATES_MIXED = ("the column has dates with the day first and dates with the month first", _ISO)
    DATES_SWAPPED = (
        "the spreadsheet may have swapped day and month: all its dates have days up to 12, all it left as "
        "text later days",
        "compare with the original notes, then write all dates of the column as year-month-day",
    )

    # --- pools
    NO_NAME = ("the row names no pool", "write the pool's name")
    TWO_PLACES = (
        "this pool has another place in row {row} of {file}, {metres} m away",
        "correct or delete one of the rows; where two pools have one name, or one was moved, give each place its "
        "own name",
    )
    ONE_NAME_TWICE = (
        "{file} has a pool of this name too, in row {row}, {metres} m away",
        "rename one of the two, or put the group before the name (north {pool}, south {pool}), in the tables of pools "
        "and of visits",
    )
    TWO_ROWS = (
        "this pool stands in row {row} of {file} already, with other details ({details})",
        "put the details of both rows into one",
    )
    REMOVED_FIRST = ("the pool was removed before it was set out", "correct one of the two dates")

    # --- visits
    NO_POOL = ("the visit names no pool", "write the pool's name")
    UNKNOWN_POOL = ("there is no pool of this name{near}", "correct the name, or add the pool to the table of pools")
    POOL_ASIDE = ("the pool of this visit was itself set aside", "correct the pool's own row, and the visit will count")
    NO_DATE = ("the visit has no date", _ISO)
    NO_OUTCOME = ("the visit has no outcome, and a blank is not the same as none seen", _OUTCOME)
    ODD_OUTCOME = ("the outcome is not one of those we know", _OUTCOME)
    CODED_OUTCOME = (
        "the outcome is a number, and nothing says what the numbers mean",
        f"{_OUTCOME}; put counts into a column larvae",
    )
    MARKED_OUTCOME = (
        "the outcome is a mark such as Y or x, and neither the heading nor the other cells say what it means",
        f"{_OUTCOME}; or say once what the mark means, in readings.xlsx on the sheet words",
    )
    EMPTY_OUTCOME = (
        "{word} may mean no water or no larvae, and the column's other words do not tell which",
        "write dry or none seen; or say once what the word means, in readings.xlsx on the sheet words",
    )
    DOUBTFUL_COUNT = (
        "the count leaves open whether there were larvae",
        "decide, and write larvae or none seen as the outcome",
    )
    CONTRADICTION = ("the outcome is {outcome}, but the count is {count}", "correct the outcome or the count")

    # --- trees
    VACANT = (
        "there is no tree (a vacant site, or the tree was removed)",
        "delete the row, or give the tree's condition",
    )
    FAR_AWAY = (
        "the tree lies {km} km from the area",
        "check the coordinates, and the reference system of the file",
    )
    SAME_TREE = (
        "the same tree stands in row {row} of {file}, {metres} m away",
        "delete the row, or keep it: it counts once",
    )

    # --- layers: land, what to keep away from, paths, outlines
    NO_SHAPES = (
        "the file has no shapes and no coordinates",
        "draw the shapes in a GIS program, or add a column position with their WKT",
    )
    NO_SHAPE = ("the row has no shape", "draw it again, or delete the row")
    SHAPE_BROKEN = ("the shape is not well-formed", "export it again as WKT")
    SHAPE_UNSTATED = ("the shape is in metres, but no system is stated", STATE_SYSTEM)
    SHAPE_UNREACHABLE = ("the shape can't be converted to {system}", "check the file's reference system")
    WRONG_SHAPE = ("{shape} where {expected} is expected", "draw it as {expected}")

    # --- the list of consents
    NO_LAND_ID = (
        "the row does not say which piece of land it is for",
        "copy the id of that land's own row, or leave the row as a note of your own",
    )
    LAND_GONE = (
        "no piece of land has this id any more",
        "see whether the land has another id now, and copy what was agreed into its row; then delete this one",
    )
    LAND_GONE_BLANK = (
        "no piece of land has this id any more, and nothing was written in the row",
        "delete the row, or leave it",
    )
    CONSENT_TWICE = (
        "row {row} of {file} is for the same land; of two answers the stricter one counts",
        "put what both rows say into one, and delete the other",
    )

    # --- the state of suggested sites
    NO_SITE_ID = (
        "the row does not say which suggested site it is for",
        "copy the site's id from the map or plan.csv, or leave the row as a note of your own",
    )
    SITE_UNKNOWN = (
        "no site of this id was ever suggested here",
        "copy the site's id from the map or plan.csv; a place of your own goes into committed.*",
    )
    ODD_STATE = (
        "the state is not one of those we know",
        "write to ask, asked, agreed, refused, set out or given up",
    )
    SITE_TWICE = (
        "row {row} of {file} is for the same site and has the later date, so that one counts",
        "put what both rows say into one, and delete the other",
    )
    SITE_AGAIN = (
        "row {row} of {file} says the same of this site",
        "put what both rows say into one, and delete the other",
    )
    SITE_DISPUTED = (
        "row {row} of {file} says {other} of the same site, and no date tells which came later",
        "write the dates, or delete the row that is out of date",
    )

    # --- land cover
    NO_CLASS = ("the row has no class", "correct the class, or add a row for it to a class table of your own")
    UNKNOWN_CLASS = ("{table} has no such class", "correct the class, or add a row for it to a class table of your own")

    # --- corrections (NAME.fix.csv) and templates
    CORRECTED = ("corrected in row {row} of {file}", "nothing: the corrected row is used in its place")
    NOT_CORRECTED = ("not corrected yet", "correct the row here, or in {file} itself")
    ORIGINAL_FINE = ("row {row} of {file} is used as it is", "delete this row: nothing is left to correct")
    ORIGINAL_CHANGED = (
        "row {row} of {file} is gone, or has changed since this correction was begun",
        "see whether the row there is right now, then delete this one",
    )
    CORRECTED_TWICE = ("row {row} of {file} corrects the same row", "delete one of the two rows")
    NO_ORIGINAL = (
        "the row does not say which row of which file it corrects",
        "write new records into the file itself; in a correction leave from_file, from_row and was as they were",
    )
    STILL_EXAMPLE = (
        "the row is marked as the example of the template, but somebody has written in it",
        "write the pool's name over the mark, or delete the row",
    )

    # --- files and sheets that were not used
    HIDDEN_SHEET = ("the sheet is hidden", "show the sheet, if it holds records, and save the file")
    EMPTY_SHEET = ("the sheet is empty", "nothing")
    NO_RECORDS_SAID = ("the sheet says of itself that it is not read", "nothing")
    NO_HEADINGS = (
        "nothing in it reads like a row of headings",
        f"write one above the data, such as pool, lat, lon; {_IGNORE}",
    )
    NO_HEADING_KNOWN = (
        "none of its headings tells that it holds {kind} ({rows}; its headings are {headings})",
        f"say in readings.xlsx, sheet headings, what each heading means; {_IGNORE}",
    )
    OTHER_NAME = (
        "its name is that of no input",
        "give it a name that begins with what it holds, such as visits_lisa.csv, or say in readings.xlsx, sheet files, "
        f"what it holds; {_IGNORE}",
    )
    LIKE_AN_INPUT = (
        "its name is like that of an input, but is none",
        "if it holds records, give it a name such as {name}",
    )
    FOREIGN_FILE = (
        "its kind of file is none of those of inputs",
        "save it as csv, xlsx, ods, gpkg or geojson (GeoJSON must end in .geojson)",
    )
    ARCHIVE = (
        "no input lies in it by its name, but tables or other zips do",
        "unpack it, and put the files into the area's folder, each named for what it holds",
    )
    OTHER_FILE = ("it is no table, layer or raster with the name of an input", "nothing")
    FOLDER_WITH_TABLES = (
        "nothing in this folder is read, and it holds {tables}",
        "put the files into the area's own folder, each named for what it holds, or leave them where they are",
    )
    OTHER_FOLDER = ("nothing in this folder is read", "nothing")
    GROUPS_IN_ZIP = (
        "the folder of the groups lies in a zip, where it is not read",
        "unpack it, so that groups/NAME/pools.xlsx lies in the area's folder",
    )
    IN_NO_GROUP = (
        "the file lies beside the groups' folders and in none of them",
        "put it into the folder of its group, or into the area's own folder",
    )
    NOT_OF_A_GROUP = (
        "a group has its own pools, visits, trees, land, exclusion zones and committed sites, and nothing else",
        "put the file into the area's own folder",
    )
    SPARE_CLASS_TABLE = (
        "it looks like a class table",
        'to use it, add to area.toml: [land_cover] classes = "{name}"',
    )
    UNREADABLE = ("it can't be read: {fault}", "correct the file, or take it out of the folder")
    SAID_TO_BE_NONE = ("readings.xlsx says that it holds no records", "nothing")

    @property
    def code(self) -> Why:
        """The reason itself, as `Told.code` gives it."""
        return self

    @property
    def reason(self) -> Sentence:
        """Why the row cannot be used."""
        return Sentence(self.value[0])

    @property
    def remedy(self) -> Sentence:
        """What to do about it."""
        return Sentence(self.value[1])

    def of(self, **words: object) -> Told:
        """The reason with what fills its braces; a sentence and a figure are said in the reader's language."""
        kept = {name: word if isinstance(word, Sentence | Quantity) else str(word) for name, word in words.items()}
        return Told(self, kept)


@dataclass(frozen=True)
class Told:
    """A reason with the words of a file that its sentences need."""

    code: Why
    words: Mapping[str, Value]

    @property
    def reason(self) -> Sentence:
        """Why the row cannot be used, its braces filled."""
        return Sentence(self.code.reason, self.words)

    @property
    def remedy(self) -> Sentence:
        """What to do about it, its braces filled."""
        return Sentence(self.code.remedy, self.words)


# a reason as readers give it
Reason = Why | Told

# rows that may stay as they are: no records, or records that are used, or asked for, in another row
NOTHING_TO_DO = frozenset(
    Why[name]
    for name in """HEADING_AGAIN TOTAL_ROW NO_RECORD REPEAT SAME_ENTRY VACANT SAME_TREE CORRECTED NOT_CORRECTED
    ORIGINAL_FINE EMPTY_SHEET NO_RECORDS_SAID OTHER_FILE OTHER_FOLDER SAID_TO_BE_NONE
    LAND_GONE_BLANK""".split()
)
# what no correction in a list of cells can put right: those, and faults that lie elsewhere than in the row
NOT_ASKED = NOTHING_TO_DO | frozenset(
    Why[name]
    for name in """NO_COLUMNS METRES_UNSTATED SHAPE_UNSTATED NO_SHAPES POOL_ASIDE ORIGINAL_CHANGED CORRECTED_TWICE
    NO_ORIGINAL FAR_AWAY NO_LAND_ID LAND_GONE CONSENT_TWICE NO_SITE_ID SITE_UNKNOWN SITE_TWICE SITE_AGAIN SITE_DISPUTED
    ADDRESS_NO_MAP""".split()
)
# faults of a drawn shape, which only a GIS program can put right
IN_A_SHAPE = frozenset(
    Why[name]
    for name in "GEOMETRY_EMPTY NOT_A_POINT NOT_FINITE NO_SHAPE WRONG_SHAPE UNREACHABLE SHAPE_UNREACHABLE".split()
)
