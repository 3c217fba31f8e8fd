"""Photos beside records, as telephones write them: real JPEGs with EXIF, made by Pillow."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import habitatmap
from habitatmap.area import Area
from habitatmap.page import map_page, public_page
from habitatmap.read import photos
from tests.areas import CRS, area_folder, centre, class_table, write_area
from tests.commands import habitatmap as call

TOML = f'crs = "{CRS}"\nas_of = 2025-07-01\n'
# 48.75 N, 9.0 E is (500000, 5399665) in UTM 32 N: on its central meridian, 0.9996 times the meridian's length to there
AT = {"lat": (48.0, 45.0, 0.0), "lon": (9.0, 0.0, 0.0)}
CANARY = "Zzyzx-Camera"


def photo(
    path: Path, size: tuple[int, int] = (800, 600), at: dict[str, tuple[float, ...]] | None = None, turn: int = 1
) -> Path:
    """A JPEG whose left half is red, with the camera's name, how it was held, and where it was taken."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.zeros((size[1], size[0], 3), np.uint8)
    pixels[:, : size[0] // 2, 0] = 255
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = CANARY, turn
    if at:
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2], gps[3], gps[4] = "N", at["lat"], "E", at["lon"]
    Image.fromarray(pixels).save(path, exif=exif, comment=CANARY.encode())
    return path


def opened(folder: Path, pools: str, visits: str = "") -> Area:
    files = {"pools": pools} | ({"visits": visits} if visits else {})
    return habitatmap.open_area(area_folder(folder, TOML, **files))


def remark(area: Area, word: str) -> str:
    (told,) = (text for text in area.ledger.remarks if word in text)
    return told


def test_a_photo_is_small_upright_and_without_metadata(tmp_path: Path) -> None:
    photo(tmp_path / "photos" / "IMG_1.JPG", at=AT, turn=6)  # held upright: turned by a quarter to the right
    area = opened(tmp_path, "pool,x,y,Foto\nA,500000,5399665,img_1.jpg\n")
    (one,) = area.photos
    assert (one.pool, one.file, one.day) == ("A", "img_1.jpg", "")
    assert CANARY.encode() not in one.small
    with Image.open(io.BytesIO(one.small)) as small:
        assert (small.format, small.size) == ("WEBP", (240, 320))
        assert not small.getexif()
        assert not {"exif", "xmp", "icc_profile", "comment"} & set(small.info)
        red = np.asarray(small.convert("RGB"))[:, :, 0] > 128
    assert red[:140].all()  # what was left is above
    assert not red[180:].any()
    assert not area.ledger.doubts


def test_several_names_in_one_cell_of_pools_and_visits(tmp_path: Path) -> None:
    for name in ("a.jpg", "b.jpg", "c, d.jpg", "e.png"):
        photo(tmp_path / "photos" / name, (40, 30))
    pools = 'pool,x,y,photo\nA,500000,5399665,"a.jpg; c, d.jpg"\n'
    visits = 'pool,date,outcome,Bilder\nA,2025-05-01,larvae,"photos\\b.jpg,e.png"\nA,2025-06-01,dry,b.jpg\n'
    area = opened(tmp_path, pools, visits)
    assert [(one.file, one.day) for one in area.photos] == [
        ("a.jpg", ""),
        ("c, d.jpg", ""),
        ("b.jpg", "2025-06-01"),
        ("photos\\b.jpg", "2025-05-01"),
        ("e.png", "2025-05-01"),
    ]
    assert {Image.open(io.BytesIO(one.small)).size for one in area.photos} == {(40, 30)}  # none is made larger


def test_what_cannot_be_shown_is_told_by_file_and_row(tmp_path: Path) -> None:
    folder = tmp_path / "photos"
    whole = photo(folder / "short.jpg").read_bytes()
    (folder / "short.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "text.jpg").write_text("no picture")
    (folder / "phone.HEIC").write_bytes(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic")
    (tmp_path / "secret.jpg").write_bytes(whole)
    os.symlink(tmp_path / "secret.jpg", folder / "out.jpg")
    names = ("gone.jpg", "short.jpg", "text.jpg", "phone.HEIC", "out.jpg", "https://example.invalid/x.jpg")
    rows = "".join(f"P{i},{500000 + 100 * i},5399665,{name}\n" for i, name in enumerate(names))
    area = opened(tmp_path, f"pool,x,y,photo\n{rows}")
    assert area.photos == ()
    assert "gone.jpg (pools.csv row 2); out.jpg (pools.csv row 6)" in remark(area, "do not lie in photos/")
    told = remark(area, "not shown")
    assert "short.jpg (pools.csv row 3): the file breaks off" in told
    assert "text.jpg (pools.csv row 4): it is no picture" in told
    assert "phone.HEIC (pools.csv row 5): a file of the kind HEIC can't be opened here; save it as JPEG" in told
    assert remark(area, "link").startswith("1 photo named by a link")
    assert len(area.pools) == len(names)  # a photo that is missing costs no record
    said = call("check", tmp_path)
    assert said.code == 1
    assert "gone.jpg" in said.out
    assert "phone.HEIC" in (tmp_path / "check" / "check.html").read_text(encoding="utf-8")


def png_of(width: int, height: int) -> bytes:
    """A PNG that says it is so large, without its pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("side", [10_000, 20_000])  # above Pillow's MAX_IMAGE_PIXELS, and above twice as many
def test_a_picture_that_would_fill_the_memory_is_refused_with_a_sentence(tmp_path: Path, side: int) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "bomb.png").write_bytes(png_of(side, side))
    area = opened(tmp_path, "pool,x,y,photo\nA,500000,5399665,bomb.png\n")
    assert area.photos == ()
    assert "pixels, and at most 89 million are opened" in remark(area, "bomb.png")


def test_where_a_photo_was_taken_is_offered_and_not_taken(tmp_path: Path) -> None:
    for name in ("here.jpg", "near.jpg", "far.jpg"):
        photo(tmp_path / "photos" / name, (40, 30), AT)
    rows = "A,500030,5399665,near.jpg\nB,500240,5399665,far.jpg\nC,,,here.jpg\n"
    area = opened(tmp_path, f"pool,x,y,photo\n{rows}")
    assert area.pools["pool"].tolist() == ["A", "B"]
    assert area.pools["x"].tolist() == [500030, 500240]
    offered = remark(area, "without a place")
    assert "here.jpg was taken at 48.75000, 9.00000, and C (pools.csv row 4) has no place" in offered
    far = remark(area, "far from their pool")
    assert "far.jpg was taken at 48.75000, 9.00000, 240 m from pool B (pools.csv row 3)" in far
    assert "near.jpg" not in far
    said = call("check", tmp_path)
    assert "240 m from pool B" in said.out
    assert "has no place" in said.out


def test_a_pool_that_may_be_far_off_is_not_called_far(tmp_path: Path) -> None:
    photo(tmp_path / "photos" / "x.jpg", (40, 30), AT)
    area = opened(tmp_path, "pool,x,y,accuracy,photo\nA,500240,5399665,200,x.jpg\nB,500260,5399665,200,x.jpg\n")
    assert "260 m from pool B" in remark(area, "far from their pool")
    assert "pool A" not in remark(area, "far from their pool")


def test_a_folder_without_any_place_tells_where_its_photos_were_taken(tmp_path: Path) -> None:
    photo(tmp_path / "photos" / "here.jpg", (40, 30), AT)
    area_folder(tmp_path, TOML, pools="pool,photo\nC,here.jpg\n")
    said = call("check", tmp_path)
    assert said.code == 1
    assert "here.jpg was taken at 48.75000, 9.00000, and C (pools.csv row 2) has no place" in said.out


@pytest.mark.parametrize("lat", [(0.0, 0.0, 0.0), (91.0, 0.0, 0.0)])
def test_a_place_that_cannot_be_true_is_none(tmp_path: Path, lat: tuple[float, ...]) -> None:
    lon = (0.0, 0.0, 0.0)
    photo(tmp_path / "photos" / "x.jpg", (40, 30), {"lat": lat, "lon": lon})
    area = opened(tmp_path, "pool,x,y,photo\nA,500000,5399665,x.jpg\n")
    assert len(area.photos) == 1
    assert not area.ledger.doubts


def test_each_pool_s_first_photo_comes_before_the_second_of_any(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("a1.jpg", "a2.jpg", "b1.jpg"):
        photo(tmp_path / "photos" / name)
    pools = "pool,x,y,photo\nA,500000,5399665,a1.jpg; a2.jpg\nB,500100,5399665,b1.jpg\n"
    one = len(opened(tmp_path, pools).photos[0].small)
    monkeypatch.setattr(photos, "MOST_BYTES", 2 * one + one // 2)
    area = opened(tmp_path, pools)
    assert [p.file for p in area.photos] == ["a1.jpg", "b1.jpg"]
    assert "shows 2 photos and leaves 1 out" in remark(area, "to stay below")


def test_a_group_s_photos_lie_in_its_own_folder(tmp_path: Path) -> None:
    photo(tmp_path / "groups" / "north" / "photos" / "p.jpg", (40, 30))
    photo(tmp_path / "photos" / "p.jpg", (20, 10))
    area_folder(tmp_path / "groups" / "north", pools="pool,x,y,photo\nP1,500100,5399665,p.jpg\n")
    area = opened(tmp_path, "pool,x,y,photo\nP1,500000,5399665,p.jpg\n")
    sizes = {one.pool: Image.open(io.BytesIO(one.small)).size for one in area.photos}
    assert sizes == {"P1": (20, 10), "north P1": (40, 30)}


def test_photos_are_on_the_team_s_page_and_in_no_public_file(tmp_path: Path) -> None:
    """Three gardens, so that their square is shown, and a pool on open ground: none shows a photo to the public."""
    photo(tmp_path / "photos" / f"{CANARY}.jpg", (200, 160), AT)
    pools = "pool,x,y,private,photo\n" + "".join(
        f"P{i},{centre(5 + i, 5)[0]},{centre(5 + i, 5)[1]},{'no' if i == 3 else 'yes'},{CANARY}.jpg\n" for i in range(4)
    )
    write_area(tmp_path, np.full((30, 30), 1, np.uint8), class_table({1: 0.5}), pools=pools, toml="[plan]\npools = 1\n")
    said = call("map", tmp_path)
    assert said.code == 0, said.err
    team = (tmp_path / "out" / "map.html").read_text(encoding="utf-8")
    block = re.search(r'<script type="application/json" id="photos">(.*?)</script>', team)
    assert block
    shown = [base64.b64decode(picture) for _, _, _, picture in json.loads(block[1])]
    assert len(shown) == 4
    for content in shown:  # RIFF, its chunks: pixels alone
        assert (content[:4], content[8:16]) == (b"RIFF", b"WEBPVP8 ")
        assert not any(mark in content for mark in (b"EXIF", b"Exif", b"XMP ", b"ICCP", CANARY.encode()))
    result = habitatmap.run(habitatmap.open_area(tmp_path))
    bare = habitatmap.run(habitatmap.open_area(area_folder(tmp_path, pools=pools.replace(f"{CANARY}.jpg", ""))))
    assert public_page(result) == public_page(bare)
    assert map_page(result) != map_page(bare)
    for path in sorted(p for p in (tmp_path / "out").rglob("*") if p.is_file()):
        if "public" in path.name or path.suffix == ".png":
            assert CANARY.encode() not in path.read_bytes(), path
