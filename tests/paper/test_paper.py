"""What goes on paper: tagged, any script, hostile text printed as it is written, codes that a phone reads."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pypdfium2
import pytest
import shapely
import zxingcpp
from pypdf import PdfReader

import habitatmap
from habitatmap.errors import InputError
from habitatmap.paper import pictures as drawer
from habitatmap.paper import typst_pdf as press
from habitatmap.paper.maps import Sheet
from habitatmap.paper.pictures import pictures
from habitatmap.paper.sheets import (
    LEAST_EMPTY,
    access,
    geo_uri,
    in_a_code,
    labels,
    new_names,
    recording_sheet,
    site_sheets,
)
from habitatmap.read.templates import TEMPLATES
from habitatmap.vocabulary.kinds import Kind
from habitatmap.words.catalogue import ENGLISH, catalogue, spoken
from habitatmap.words.own import write_own
from tests.areas import centre, class_table, write_area
from tests.demo import demo_result
from tests.pdf import title_of
from tests.words.spoken import OTHERS, left, recorder, same_texts

HOSTILE = [
    "#set page(fill: red) $x$ *bold* `raw` #panic(1)",
    "\"quotes\" 'single' \\ back {braces} <tag> </script> [link](x) @ref // comment /* more",
    "=SUM(A1) +1 -2 @at",
    "Größe ñandú Łódź 漢字かな مرحبا",
]


MAKERS = (site_sheets, labels, recording_sheet)


def text_of(pdf: bytes) -> str:
    """The text in reading order, its white space as single spaces."""
    said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    return " ".join(said.replace("\u200b", "").split())


def hostile_area(folder: Path) -> Path:
    classes = np.full((40, 40), 1, np.uint8)
    classes[:, 25:] = 2
    land = [(HOSTILE[1], "yes", shapely.box(*centre(40, -1), *centre(-1, 40)))]
    return write_area(
        folder,
        classes,
        class_table({1: 0.5, 2: 0.2}, {1: 0.3, 2: 0.0}),
        pools=[("Pool A", *centre(5, 5)), ("S1", *centre(30, 30))],
        land=land,
        toml="\n[plan]\npools = 2\nspacing_m = 50\n\n[sheets]\ncontact = '''" + HOSTILE[0] + "'''\n",
    )


def test_sheets_are_tagged_and_the_same_twice() -> None:
    for make in MAKERS:
        once = make(demo_result())
        assert once == make(demo_result())
        catalog = PdfReader(io.BytesIO(once)).trailer["/Root"]
        assert catalog["/MarkInfo"]["/Marked"]
        assert "/StructTreeRoot" in catalog
        assert catalog["/Lang"] == "en"
        assert b"pdfuaid:part" in once


def test_each_kind_of_sheet_has_a_title_of_its_own() -> None:
    titles = [title_of(make(demo_result())).removeprefix(demo_result().title) for make in MAKERS]
    assert titles == [": sites for new pools", ": labels", ": what was seen"]


def test_a_page_for_each_site() -> None:
    plan = demo_result().plan
    pages = PdfReader(io.BytesIO(site_sheets(demo_result()))).pages
    assert len(pages) == len(plan)
    for page, row in zip(pages, plan.itertuples(), strict=True):
        said = page.extract_text()
        assert said.split()[0] == row.id
        # the cautions stand where the pool is set out
        for word in ("small child", "three weeks", "a nest", "damaged branches", "sharp, rusty", "ladder", "by-laws"):
            assert word in " ".join(said.split()), word
    assert len(PdfReader(io.BytesIO(site_sheets(demo_result(), ["2", "s3"]))).pages) == 2


def test_the_code_on_a_sheet_is_the_place() -> None:
    """Read from the page as printed at 100 dpi by a general reader (ZXing); the URI is RFC 5870's: latitude first."""
    row = demo_result().plan.iloc[0]
    page = pypdfium2.PdfDocument(site_sheets(demo_result(), ["S1"]))[0]
    found = zxingcpp.read_barcodes(page.render(scale=100 / 72).to_pil())
    assert [code.text for code in found] == [geo_uri(row["lat"], row["lon"], 10.0, "S1")]
    assert found[0].text.startswith(f"geo:{row['lat']:.6f},{row['lon']:.6f};u=10")


def test_labels_carry_every_standing_pool_and_the_new_names() -> None:
    document = pypdfium2.PdfDocument(labels(demo_result()))
    codes = {c.text for page in document for c in zxingcpp.read_barcodes(page.render(scale=150 / 72).to_pil())}
    pools = demo_result().pools
    assert codes == {*pools.loc[pools["standing"] == "yes", "pool"], *new_names(demo_result())}


@pytest.mark.parametrize("name", ["x" * 79, "Am Alten Friedhof, " * 20, "漢字かな" * 60, "Q" * 5000], ids=len)
def test_a_label_is_read_whatever_the_length_of_its_name(name: str) -> None:
    """Printed at 150 dpi and read by a general reader (ZXing)."""
    result = demo_result()
    pools = result.pools.iloc[:2].assign(pool=[name, f"{name}!"])
    made = labels(replace(result, pools=pools, plan=result.plan.iloc[:0]))
    page = pypdfium2.PdfDocument(made)[0]
    found = [code.text for code in zxingcpp.read_barcodes(page.render(scale=150 / 72).to_pil())]
    assert set(found) == {in_a_code(name), in_a_code(f"{name}!")}
    assert len(set(found)) == 2, "two pools never have one code"
    assert all(code[:20] == name[:20] for code in found)
    assert in_a_code("Pool A") == "Pool A"


def test_people_read_latitude_before_longitude() -> None:
    row = demo_result().plan.iloc[0]
    said = text_of(site_sheets(demo_result(), ["S1"]))
    assert f"Latitude, longitude {row['lat']:.5f}, {row['lon']:.5f}" in said
    assert "Where it went: latitude, longitude" in said
    assert "ongitude, latitude" not in said


def test_a_long_reason_still_fits_on_the_page() -> None:
    plan = demo_result().plan.assign(
        place="A very long name of a place that goes on and on, west end, by the river " * 3
    )
    assert len(PdfReader(io.BytesIO(site_sheets(replace(demo_result(), plan=plan)))).pages) == len(plan)


@pytest.mark.parametrize("pools", [0, 8, 9, 10, 13, 30, 45])
def test_a_recording_sheet_has_a_row_for_each_pool_and_some_more(pools: int) -> None:
    result = demo_result()
    standing = result.pools[result.pools["standing"] == "yes"].iloc[:pools]
    pages = [
        " ".join(page.extract_text().split())
        for page in PdfReader(io.BytesIO(recording_sheet(replace(result, pools=standing)))).pages
    ]
    rows = [page.count("none seen") for page in pages]
    assert sum(rows) >= pools + LEAST_EMPTY
    assert rows == [13, *[16] * (len(rows) - 1)], "pages are full, and no page is for the cautions alone"
    assert "three weeks" in pages[0]
    assert all(name in " ".join(pages) for name in standing["pool"])


def test_hostile_words_are_printed_as_written(tmp_path: Path) -> None:
    result = habitatmap.run(habitatmap.open_area(hostile_area(tmp_path / "a")), public=False)
    assert new_names(result) == ["new S1", "S2"]  # S1 is taken
    sites = text_of(site_sheets(result))
    for word in ('"quotes"', "{braces}", "<tag>", "</script>", "[link](x)", "@ref", "/* more"):
        assert word in sites
    printed = text_of(labels(result))
    assert "#panic(1)" in printed.replace(" ", "")
    assert "*bold*" in printed


@pytest.mark.parametrize("text", [*HOSTILE, "\ud800 lone", "\u202egnirts", "\U0001f600\ufe0f", "x" * 10_000, "a\x00b"])
def test_any_text_can_be_printed(text: str) -> None:
    """PDF/UA forbids a missing glyph, so that the compiler would refuse what `printable` lets through."""
    label = {"name": text, "long": max(len(text), 6), "contact": text, "qr": "q.svg", "qr-alt": text}
    svg = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'
    words = dict.fromkeys(("labels", "label_what", "label_leave", "label_water", "label_questions"), text)
    made = press.pdf("sheets.typ", {"kind": "labels", "title": text, "words": words, "labels": [label]}, {"q.svg": svg})
    assert made.startswith(b"%PDF")


def test_what_no_font_has_becomes_a_box() -> None:
    assert press.printable("a\U0001f600b") == f"a{press.NO_GLYPH}b"
    assert press.printable("e\U000e0041x\ufe0f") == "ex"  # a tag and a selector, which nobody sees
    scripts = "Größe Ελλάδα Київ مرحبا בְּרֵכָה ₪ 漢字 연못"
    assert press.printable({"a": [scripts, 1, None]}) == {"a": [scripts, 1, None]}
    assert press.is_printed(press.NO_GLYPH)


def test_a_site_on_private_ground_has_no_place(tmp_path: Path) -> None:
    classes = np.full((60, 60), 1, np.uint8)
    land = [("Garden row", "ask", shapely.box(*centre(60, -1), *centre(-1, 60)))]
    folder = write_area(
        tmp_path / "p", classes, class_table({1: 0.5}), land=land, toml="\n[plan]\npools = 1\nprivate = true\n"
    )
    frame = gpd.read_file(folder / "land.gpkg").assign(private="yes")
    frame.to_file(folder / "land.gpkg")
    result = habitatmap.run(habitatmap.open_area(folder), public=False)
    assert result.plan["private"].tolist() == ["yes"]
    made = site_sheets(result)
    said = text_of(made)
    assert "Latitude, longitude" not in said.split("What was done")[0]
    assert "never enter unasked" in said
    assert not zxingcpp.read_barcodes(pypdfium2.PdfDocument(made)[0].render(scale=100 / 72).to_pil())


def test_rows_typed_from_the_recording_sheet_are_read(tmp_path: Path) -> None:
    said = text_of(recording_sheet(demo_result()))
    heads = [column.name for column in TEMPLATES[Kind.VISITS]]
    assert all(heading in said for heading in heads)
    typed = {"pool": "Pool A", "date": "2025-06-02", "outcome": "larvae", "larvae": "3", "checked": "no"}
    row = ",".join(typed.get(heading, "") for heading in heads)
    folder = hostile_area(tmp_path / "typed")
    (folder / "visits.csv").write_text(",".join(heads) + "\n" + row + "\n", encoding="utf-8")
    area = habitatmap.open_area(folder)
    assert area.ledger.counts()["visits"] == {"read": 1, "accepted": 1, "set_aside": 0}
    assert area.visits.loc[0, "larvae"] == 3


def test_the_nearest_way_and_where_it_lies() -> None:
    paths = gpd.GeoDataFrame(
        {"kind": ["path", "street"], "name": ["", "Mill Street"]},
        geometry=[shapely.LineString([(0, 500), (1000, 500)]), shapely.LineString([(0, -30), (1000, -30)])],
    )
    assert access(100, 0, paths) == "The nearest way is Mill Street, 30 m to the south as the crow flies."
    assert access(100, 480, paths) == "The nearest way is path, 20 m to the north as the crow flies."
    assert access(100, 500, paths).startswith("It stands on the way itself")
    assert "No ways" in access(0, 0, paths.iloc[:0])


def test_a_wrong_site_gets_a_sentence() -> None:
    with pytest.raises(InputError, match=r"--site 99: there is no such suggestion; the plan has S1, S2,"):
        site_sheets(demo_result(), ["99"])
    with pytest.raises(InputError, match=r"--site S99: there is no such suggestion"):
        site_sheets(demo_result(), ["s1", "S99"])


def test_a_scale_bar_is_as_long_as_it_says() -> None:
    sheet = Sheet(0, 0, 1000, 500, 500.0)
    svg = sheet.svg("x", [])
    assert ">200 m</text>" in svg
    assert "V2H100.0V" in svg  # 200 m at 0.5 units a metre; 500 m would be half the sheet
    assert sheet.at(1000, 0) == (500.0, 250.0)


def test_pictures_have_scale_north_key_and_credits() -> None:
    made = dict(pictures(demo_result()))
    assert {name.split(".")[0] for name in made} == {"ground", "forage_season", "reach_now", "gaps", "plan"}
    for name, content in made.items():
        if name.endswith(".svg"):
            svg = content.decode("utf-8")
            assert "1 km</text>" in svg
            assert ">N</text>" in svg
            assert "Invented data" in svg
            assert "drawn from blurred places" in svg
        else:
            assert content.startswith(b"\x89PNG")


def test_the_press_reads_nothing_but_its_folder() -> None:
    """A path in a record stays a text; only the names given as pictures are files."""
    label = {"name": "/etc/hostname", "long": 13, "contact": "../main.typ", "qr": "q.svg", "qr-alt": "x"}
    svg = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'
    words = dict.fromkeys(("labels", "label_what", "label_leave", "label_water", "label_questions"), "w")
    made = press.pdf("sheets.typ", {"kind": "labels", "title": "t", "words": words, "labels": [label]}, {"q.svg": svg})
    assert "/etc/ hostname" in text_of(made)  # the name is so large that it breaks


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_on_paper(language: str) -> None:
    result, recorded = demo_result(), recorder(language)
    names = [
        result.title,
        "S 100 m EPSG",
        *result.credits,
        *result.paths["name"].astype(str),
        *result.places["name"].astype(str),
    ]
    makers = (lambda how: site_sheets(result, ["S1"], how), lambda how: labels(result, how))
    for make in (*makers, lambda how: recording_sheet(result, how)):
        english, other = make(ENGLISH), make(recorded)
        assert PdfReader(io.BytesIO(other)).trailer["/Root"]["/Lang"] == language
        assert left(text_of(english), text_of(other), names) == []
    assert recorded.unsaid == set()


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_on_pictures(language: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drawer, "png", lambda svg, width: b"")
    recorded = recorder(language)
    pairs = zip(pictures(demo_result()), pictures(demo_result(), recorded), strict=True)
    for (_, english), (_, other) in pairs:
        shared = same_texts(english.decode(), other.decode(), [demo_result().title, *demo_result().credits])
        assert [text for text in shared if len(text.split()) > 2 and "demo" not in text.lower()] == []
    assert recorded.unsaid == set()


@pytest.mark.parametrize("language", OTHERS)
def test_words_of_a_label_stay_within_its_border(language: str) -> None:
    """Four rows of labels of 62 mm; the line to write on is the lowest thing on each."""
    page = pypdfium2.PdfDocument(labels(demo_result(), catalogue(language)))[0]
    text = page.get_textpage()
    boxes = [text.get_rect(i) for i in range(text.count_rects())]
    names = sorted((box for box in boxes if box[3] - box[1] > 18), key=lambda box: -box[3])
    assert len(names) == 8
    for left_, _, _, top in names:
        inside = [b for b in boxes if abs(b[0] - left_) < 3 and top - 62 * 72 / 25.4 < b[1] <= top]
        assert min(b[1] for b in inside) > top - 52 * 72 / 25.4


def test_a_word_of_the_area_stands_on_the_label(tmp_path: Path) -> None:
    path, _ = write_own(tmp_path, "de")
    book = openpyxl.load_workbook(path)
    book.worksheets[0].append(["", "Schwebfliegen", "Hoverflies"])
    book.save(path)
    assert "Kinderstube von Hoverflies" in text_of(labels(demo_result(), spoken("de", tmp_path)))
    assert "Kinderstube von Schwebfliegen" in text_of(labels(demo_result(), catalogue("de")))


def test_a_figure_on_a_sheet_is_written_as_its_language_does() -> None:
    said = text_of(site_sheets(demo_result(), ["S1"], catalogue("de")))
    assert "Plan vom 15.10.2025" in said
    assert re.search(r"\d,\d+ % des Blütenangebots", said)
