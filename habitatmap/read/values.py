"""Cells as values: names, yes and no, counts with their bounds. What a cell does not say is not made up."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from rapidfuzz import fuzz, process

from habitatmap.read.coordinates import comma_of, read_number
from habitatmap.read.formats.cells import as_text, narrow
from habitatmap.read.formats.table import Renamed
from habitatmap.read.headings import fold, unit_of

_YES = frozenset("yes y true 1 x ja j wahr oui o vrai si s verdadero kylla k on tosi tak t vero sim ✓ ✔ ☑".split())
_NO = frozenset("no n false 0 nein falsch non faux nee falso ei e epatosi nie nej nao f ✗ ✘ ☒".split())


def yes_no(cell: object) -> str | None:
    """ "yes", "no", "" for a blank cell, None where the cell says neither, or asks. Ten languages, 1/0, x and ticks."""
    text = as_text(cell).strip().casefold()
    if not text:
        return ""
    if "?" in text:
        return None
    word = fold(text) or text
    return "yes" if word in _YES else "no" if word in _NO else None


def name_of(cell: object) -> str:
    """A name as a person reads it: single spaces, no `.0` behind a number."""
    return " ".join(as_text(cell).split())


def today_called(name: str, day: datetime.date | None, names: Sequence[Renamed]) -> str:
    """The name that a pool bears today, where a record of a day calls it by a former one."""
    key = name_key(name)
    for old, new, since in names:
        if key == old and (since is None or day is None or day < since):
            return new
    return name


# what word processors make of a typed dash and quote
_TYPED = str.maketrans("‐‑‒–—−’‘", "------''")


@lru_cache(maxsize=100_000)  # a pool's name stands in many rows
def name_key(name: str) -> str:
    """What two writings of one name share: case, spaces, the kind of dash or quote do not matter, all else does."""
    return re.sub(r"\s+", "", name.translate(_TYPED)).casefold()


def nearest_name(name: str, names: Sequence[str]) -> str:
    """The most alike of the names, "" where none is; numbers inside must agree, as pool 12 is not pool 13."""
    return _nearest_name(name, tuple(names))


@lru_cache(maxsize=10_000)  # a slip of the pen stands in many rows
def _nearest_name(name: str, names: tuple[str, ...]) -> str:
    alike = [n for n in names if _numbers_in(n) == _numbers_in(name)]
    best = process.extractOne(name.casefold(), [n.casefold() for n in alike], scorer=fuzz.ratio, score_cutoff=50)
    return alike[best[2]] if best else ""


@lru_cache(maxsize=100_000)
def _numbers_in(name: str) -> tuple[int, ...]:
    return tuple(int(digits) for digits in re.findall(r"\d+", name))


class Count(NamedTuple):
    """A count as it was written: the number where it is exact (else NaN), and what it lies between (inf = open)."""

    exact: float
    low: float
    high: float


_MANY = frozenset(
    " ".join(words.split())
    for words in """lots, loads, loads of, lots of, many,
    several, some, few, a few, a lot, plenty, present, yes, x, dozens, hundreds, masses,
    countless, viele, sehr viele, einige, mehrere, etliche, ein paar, wenige, vorhanden, ja, dutzende,
    hunderte, zahlreiche, beaucoup, plusieurs, quelques, quelques unes, presentes, oui, dizaines, plusieurs
    dizaines, centaines, nombreuses, veel, enkele, een paar, aanwezig, tientallen, honderden, muchas, muchos,
    varias, varios, algunas, pocas, si, decenas, cientos, paljon, useita, muutama, muutamia, joitakin, kylla,
    kymmenia, satoja, duzo, wiele, kilka, pare, liczne, obecne, tak, dziesiatki, setki, molte, tante, alcune, poche,
    parecchie, numerose, decine, centinaia, manga, nagra, flera, enstaka, tiotals, hundratals, muitas""".split(",")
)
_NONE = frozenset(
    """none no nil zero nothing keine kein nein null aucune aucun non rien geen nee nul ninguna ninguno nada cero ei
    yhtaan nolla brak nic zadna nessuna nessuno niente inga inget noll nej nenhuma""".split()
)
# from one to twelve
_NUMBERS = {
    word: number
    for words in (
        "one two three four five six seven eight nine ten eleven twelve",
        "eins zwei drei vier funf sechs sieben acht neun zehn elf zwolf",
        "une deux trois quatre cinq six sept huit neuf dix onze douze",
        "een twee drie vier vijf zes zeven acht negen tien elf twaalf",
        "una dos tres cuatro cinco seis siete ocho nueve diez once doce",
        "yksi kaksi kolme nelja viisi kuusi seitseman kahdeksan yhdeksan kymmenen yksitoista kaksitoista",
        "jedna dwie trzy cztery piec szesc siedem osiem dziewiec dziesiec jedenascie dwanascie",
        "una due tre quattro cinque sei sette otto nove dieci undici dodici",
        "en tva tre fyra fem sex sju atta nio tio elva tolv",
    )
    for number, word in enumerate(words.split(), 1)
}
_THINGS = re.compile(
    r"(?<=[\w+?])\s+(larvae|larva|larven|larve|larves|larvas|toukkaa?|toukkia|stück|stk|pcs|individuals|individuen|"
    r"ind|exemplare|exemplaires|kpl)\.?$"
)
# what stands before or behind a number
_ABOUT = (
    r"(?:ca\.?|circa|about|approx\.?|etwa|ungefähr|environ|env\.?|ongeveer|unos|unas|noin|circa|około|ok\.|omkring|約|n\.|~|±|≈)\s*\d.*|"
    r"\d+\s*(?:approx\.?|ca\.?)"
)
_LEAST = (
    r"(?:>=|≥|at least|min\.?|mindestens|mind\.|au moins|minstens|al menos|vähintään)\s*(\d+)|(\d+)\s*"
    r"(?:\+|(?:or|and) more|oder mehr|und mehr|ou plus|et plus|of meer|o más|o mas|tai enemmän)"
)
_ABOVE = r"(?:>|more than|über|mehr als|plus de|meer dan|más de|yli)\s*(\d+)"
_MOST = r"(?:<=|≤|up to|at most|max\.?|höchstens|bis zu|au plus|jusqu'à|hoogstens|hasta|enintään)\s*(\d+)"
_BELOW = r"(?:<|less than|fewer than|unter|weniger als|moins de|minder dan|menos de|alle)\s*(\d+)"
_SPAN = r"(\d+)\s*(?:-|–|to|or|bis|oder|à|ou|a|tot|o|tai|/)\s*(\d+)"
_DOUBTFUL = r"(?:\d+\s*[-–]\s*)?(\d+)\s*\?|\?\s*(\d+)"


def read_counts(cells: Sequence[object]) -> list[Count | None]:
    """Counts of a column, None where a cell is blank or says no count ("?").

    "12", "12 larvae", "twelve" are exact; "10+", ">10", "2-3", "<5" keep their bounds; "lots" and "ca. 20" are at
    least one; "none" is 0; "1?" is 0 to 1. "1.000" may be one or a thousand, and is no count.
    """
    comma = comma_of(cells)
    comma = "thousands" if comma == "ask" else comma
    # True is no 1, though both are one key
    read = {key: _read_count(key[1], comma) for key in {(type(cell), cell) for cell in cells}}
    return [read[type(cell), cell] for cell in cells]


def _read_count(cell: object, comma: str) -> Count | None:
    if cell is None:
        return None
    if isinstance(cell, bool):
        return Count(math.nan, 1, math.inf) if cell else Count(0, 0, 0)
    if isinstance(cell, str) and re.fullmatch(r"\s*[1-9]\d{0,2}\.\d{3}\s*", cell):
        return None
    number = read_number(cell, comma)
    if number is not None:
        whole = number.value >= 0 and float(number.value).is_integer()
        return Count(number.value, number.value, number.value) if whole else None
    text = _THINGS.sub("", narrow(as_text(cell)).strip().casefold())
    word = fold(text)
    if word in _NONE:
        return Count(0, 0, 0)
    if word in _NUMBERS:
        return Count(_NUMBERS[word], _NUMBERS[word], _NUMBERS[word])
    if (word in _MANY and "?" not in text) or re.fullmatch(r"\++|✓|✔", text):
        return Count(math.nan, 1, math.inf)
    if text.isdigit():
        return Count(int(text), int(text), int(text))
    if span := re.fullmatch(_SPAN, text):
        low, high = int(span[1]), int(span[2])
        return Count(math.nan, low, high) if low <= high else None
    if least := re.fullmatch(_LEAST, text):
        return Count(math.nan, int(least[1] or least[2]), math.inf)
    if above := re.fullmatch(_ABOVE, text):
        return Count(math.nan, int(above[1]) + 1, math.inf)
    if most := re.fullmatch(_MOST, text):
        return Count(math.nan, 0, int(most[1]))
    if (below := re.fullmatch(_BELOW, text)) and int(below[1]) > 0:
        return Count(math.nan, 0, int(below[1]) - 1)
    if re.fullmatch(_ABOUT, text) and int(re.findall(r"\d+", text)[0]) > 0:
        return Count(math.nan, 1, math.inf)
    if doubtful := re.fullmatch(_DOUBTFUL, text):
        return Count(math.nan, 0, int(doubtful[1] or doubtful[2]))
    return None


# litres in one of each unit; a gallon without its country is 3.8 or 4.5 litres, so it is none
_LITRES = {"l": 1.0, "ml": 0.001, "cl": 0.01, "dl": 0.1, "us gal": 3.785411784, "uk gal": 4.54609}


def read_volumes(cells: Sequence[object], heading: str = "") -> list[float]:
    """Litres of a column of volumes, NaN where a cell is blank or says no volume above 0.

    A unit may stand behind the number ("8,5 Liter", "750 ml", "2 US gal") or in the heading; without one it is litres.
    A gallon is 3.785411784 l in the United States and 4.54609 l in Britain, by definition.
    """
    parts = [_number_and_unit(cell) for cell in cells]
    comma = comma_of([number for number, _ in parts])
    usual = unit_of(heading) or "l"
    volumes = []
    for number, unit in parts:
        read = read_number(number, "decimal" if comma == "ask" else comma)
        litres = _LITRES.get(unit or usual, math.nan)
        volumes.append(read.value * litres if read is not None and read.value > 0 else math.nan)
    return volumes


def _number_and_unit(cell: object) -> tuple[object, str]:
    """ "8,5 Liter" is "8,5" and "l"; a cell without a unit comes as it is."""
    match = isinstance(cell, str) and re.fullmatch(r"\s*(?:ca\.?|~)?\s*([\d.,\s]+?)\s*([^\W\d][\w. ]*)", cell)
    if not match:
        return cell, ""
    unit = unit_of(f"volume ({match[2]})")
    return (match[1], unit) if unit else (cell, "")
