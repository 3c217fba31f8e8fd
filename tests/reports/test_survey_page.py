"""The survey's page: it opens with sentences and a picture, says nothing twice and contradicts itself nowhere."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from habitatmap.page import pool_drawings
from habitatmap.page.pool_drawings import Both, Seen
from habitatmap.page.sections import Fold, Section, drawn
from habitatmap.reports import pool_pictures, random_assignment, survey, survey_figures
from habitatmap.reports.pool_pictures import in_order, two_by_two, visits_in_words
from habitatmap.reports.survey import sections, survey_page
from habitatmap.reports.survey_figures import all_lines, survey_text
from habitatmap.survey import estimate_pools
from habitatmap.survey.account import Account, Records, Resampling, take_account
from habitatmap.survey.codes import Difference, LeftOut, Trend
from habitatmap.survey.seasons import Part
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words import bases
from habitatmap.words import survey as words_of_surveys
from habitatmap.words.catalogue import ENGLISH, catalogue
from habitatmap.words.survey import since_then
from tests.beside import beside
from tests.survey.test_account import account, town
from tests.survey.tools import MODEL
from tests.words.spoken import OTHERS, left, recorder, same_texts, templates_in, texts_of


@pytest.fixture(scope="module")
def told() -> Account:
    return account(*town())


@pytest.fixture(scope="module")
def few() -> Account:
    return account(*town(5))


@pytest.fixture(scope="module")
def two_years() -> Account:
    """Pools 0-3 with larvae in both years, 4-5 in the first only, 6 in the second only, 7-9 in neither, 10 once."""
    pools, _ = town(11)
    rows = []
    for i, pool in enumerate(pools["pool"]):
        for year, found in ((2025, i < 6), (2026, i < 4 or i == 6)):
            if i < 10 or year == 2026:
                rows += [
                    (pool, f"{year}-06-01", "none seen"),
                    (pool, f"{year}-07-01", "larvae" if found else "none seen"),
                ]
    visits = pd.DataFrame(rows, columns=["pool", "date", "outcome"]).assign(taxon="", checked="", observer="ann")
    visits["date"] = pd.to_datetime(visits["date"])
    return account(pools.assign(set_out=pd.Timestamp("2024-10-01")), visits)


def real_seasons() -> Account:
    """Searches for toads and for peepers at 27 ponds of one refuge, taken for larvae in two seasons of the same pools.

    Data: as in tests/published/test_occupancy_toad_peeper.py.
    """
    found = {
        year: pd.read_csv(beside(f"data/occupancy/{kind}_long.csv"))
        for year, kind in ((2025, "toad"), (2026, "peeper"))
    }
    visits = pd.concat(
        [
            rows.assign(
                pool="pond " + rows["site"].astype(str),
                date=pd.Timestamp(f"{year}-02-01") + pd.to_timedelta(rows["occasion"], "D"),
                outcome=np.where(rows["detected"] == 1, "larvae", "none seen"),
            )
            for year, rows in found.items()
        ],
        ignore_index=True,
    ).assign(taxon="", checked="", observer="ann")
    pools = pd.DataFrame({"pool": visits["pool"].unique(), "set_out": pd.Timestamp("2024-10-01"), "removed": pd.NaT})
    pools = pools.assign(x=500.0 * (pools.index % 6), y=500.0 * (pools.index // 6), shade="", volume_l=np.nan)
    return account(pools, visits[["pool", "date", "outcome", "taxon", "checked", "observer"]])


def section(told: Account, key: str) -> Section:
    return next(part for part in sections(told) if part.key == key)


def test_the_page_opens_with_three_sentences_and_one_picture(told: Account) -> None:
    first = sections(told)[0]
    assert len(first.lead.splitlines()) == 3
    assert len(first.drawings) == 1
    assert not first.tables


def test_one_table_only_says_what_a_search_without_larvae_means(told: Account) -> None:
    tables = [table for part in sections(told) for table in part.tables if "Searches without larvae" in table.heads]
    assert len(tables) == 1
    assert [row[0] for row in tables[0].rows] == list(range(9))
    assert not any("needed" in head for part in sections(told) for table in part.tables for head in table.heads)


def test_where_the_searches_are_too_few_nothing_is_sure(few: Account) -> None:
    page = survey_page(few)
    assert few.few
    assert "no probability can be given" in page
    assert not re.search(r"9\d % sure|certain", page)


def test_every_standing_pool_is_in_the_picture_and_every_visit_in_the_table(told: Account) -> None:
    pictures = "".join(in_order(told).parts(ENGLISH))
    assert all(f"<title>{pool}: " in pictures for pool in told.pools.loc[told.pools["stands"], "pool"])
    words = " ".join(str(row[1]) for row in visits_in_words(told).rows)
    assert len(re.findall(r"\d{4}-\d\d-\d\d", words)) == len(told.records.visits)


def test_what_a_drawing_says_folds_away_as_a_table(told: Account) -> None:
    for key in ("estimate", "false-positives", "pools"):
        assert section(told, key).tables
        assert all(table.fold is Fold.ALWAYS for table in section(told, key).tables)


def test_two_seasons_side_by_side_by_hand(two_years: Account) -> None:
    ((_, said),) = two_by_two(two_years)
    assert said == (
        "Of 10 pools searched in 2025 and in 2026, larvae were seen in both at 4 (40 %), in 2025 only at 2 (20 %), "
        "in 2026 only at 1 (10 %) and in neither at 3 (30 %)."
    )
    assert Both("2025", "2026", 4, 2, 1, 3).pools == 10


def test_pools_that_nobody_searched_get_no_section_on_estimates() -> None:
    pools, visits = town(5)
    keys = [part.key for part in sections(account(pools, visits[:0]))]
    assert keys == ["short", "visits", "place", "effort", "pools"]
    assert [part.key for part in sections(account(pools[:0], visits[:0]))] == ["short", "effort"]


def test_a_running_season_is_told_beside_the_headline_and_not_drawn_as_an_estimate() -> None:
    pools, visits = town()
    spring = visits.head(5).assign(date=pd.Timestamp("2027-04-10"), outcome="none seen")
    records = Records("Made up", pools, pd.concat([visits, spring], ignore_index=True), datetime.date(2027, 4, 20))
    group = np.arange(len(pools))
    known = estimate_pools(pools, records.visits, records.as_of, MODEL, group)
    told = take_account(records, known, group, resampling=Resampling(surveys=20))
    first = section(told, "short")
    assert first.lead.startswith("In 2026, ")
    assert first.words[0].startswith("2027 so far: 5 searches of ")
    assert not [line for line in all_lines(told) if "2027" in line.figure and "all seasons" in line.figure]
    assert "larvae seen since 2026" in drawn(first.drawings[0].key, ENGLISH)


def test_a_new_season_is_told(told: Account) -> None:
    """Where a later season has begun, the page says what may have changed; in the season itself there is nothing."""
    assert since_then(told.known) == []
    longer = replace(told.known.model, p=np.column_stack([told.known.model.p, told.known.model.p[:, -1]]))
    later = replace(told.known, model=longer)
    said = since_then(later)[0]
    assert said.startswith(f"The season of {(told.known.figures.season or 0) + 1} has begun. Since")
    assert re.search(r"about \d+ % of the occupied pools lose them \(", said)


# words and months of several languages
SAME_IN_ALL = {"1 km", "AIC", "Coefficients", "Feb", "Apr", "Jun", "Jul", "Sep", "Nov"}


def nobody_searched(told: Account) -> list[Account]:
    """The same with pools and no visit, and with neither."""
    pools, visits = told.records.pools, told.records.visits[:0]
    return [account(pools, visits), account(pools[:0], visits)]


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_on_the_survey_page(told: Account, few: Account, two_years: Account, language: str) -> None:
    assert_nothing_left([told, few, two_years, *nobody_searched(few)], language)


@pytest.mark.slow
@pytest.mark.parametrize("language", OTHERS)
def test_real_searches_are_told_in_each_language(language: str) -> None:
    assert_nothing_left([real_seasons()], language)


def assert_nothing_left(accounts: Iterable[Account], language: str) -> None:
    """The page and the terminal say all in the language, with the figures of the English ones."""
    spoken = recorder(language)
    for each in accounts:
        english, other = survey_page(each), survey_page(each, spoken=spoken)
        of_records = [each.records.title, *each.pools["pool"], "open", "deep", "ann"]
        shared = [text for text in same_texts(english, other, of_records) if not text.startswith("made up")]
        assert set(shared) <= SAME_IN_ALL
        said = survey_text(each, spoken)
        assert left(survey_text(each), said, of_records) == []
        assert figures_of(english) == figures_of(other)
    assert spoken.unsaid == set()


def figures_of(page: str) -> list[str]:
    """The figures of a page, sorted, without dates and without the signs between digits."""
    words = re.sub(r"20\d\d-\d\d-\d\d|\d{1,2}[./-]\d{1,2}[./-]20\d\d", "", " ".join(texts_of(page)))
    return sorted(re.findall(r"\d+", re.sub(r"(?<=\d)([.,](?=\d)| (?=000))", "", words)))


@pytest.mark.parametrize("language", OTHERS)
def test_all_that_the_survey_may_say_is_in_the_catalogues(language: str) -> None:
    modules = (survey, survey_figures, pool_pictures, pool_drawings, random_assignment, bases, words_of_surveys)
    may = set().union(*(templates_in(Path(str(module.__file__)).read_text(encoding="utf-8")) for module in modules))
    may |= {text for text in bases.TEXTS.values() if isinstance(text, str)}
    may |= {str(code) for codes in (LeftOut, Trend, Difference, Part, Seen, Outcome) for code in codes}
    may |= {*survey.COVARIATES.values(), *survey.OF_NO_RECORD, *survey.SEASON_PARTS.values()}
    may -= {Trend.NO_CHANGE, Trend.NOT_KNOWN}  # these have sentences of their own
    assert may - catalogue(language).sentences.keys() == set()
