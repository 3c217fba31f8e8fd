"""Files that hold files: archives, workbooks and texts of office programs, QGIS projects."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Mapping
from pathlib import PurePosixPath

from habitatmap.persons.spelling import Span
from habitatmap.persons.texts import Edit, Where, always, edit_markup, with_spans
from habitatmap.sentences import Sentence, say

PACKED = (
    *(".zip", ".xlsx", ".xlsm", ".xltx", ".docx", ".docm", ".pptx", ".ods", ".odt", ".odp", ".odg", ".qgz", ".kmz"),
    *(".numbers", ".xlsb"),
)
MARKUP = (".xml", ".rels", ".vml", ".qgs", ".kml", ".rdf", ".html", ".htm", ".svg", ".gpx")
MOST_BYTES = 2_000_000_000  # unpacked; more may be a trap

Inner = Callable[[str, bytes, Edit], bytes]


class CannotReadError(Exception):
    """A file that can't be searched, and why."""

    def __init__(self, why: Sentence) -> None:
        super().__init__(why)
        self.why = why


def edit_packed(name: str, data: bytes, edit: Edit, inner: Inner) -> bytes:
    """An archive with the spans of its members' texts and names changed; `inner` edits a member that is no markup.

    The bytes as they are where nothing changed. Raises CannotReadError where it can't be opened.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if any(info.flag_bits & 1 for info in infos):
                raise CannotReadError(Sentence("it is locked by a password"))
            if sum(info.file_size for info in infos) > MOST_BYTES:
                raise CannotReadError(Sentence("it is too large when unpacked"))
            contents = {info.filename: archive.read(info) for info in infos}
            comment = archive.comment
    except (zipfile.BadZipFile, OSError, NotImplementedError, RuntimeError, EOFError, ValueError) as fault:
        raise CannotReadError(say("it can't be unpacked ({fault})", fault=str(fault))) from fault
    cells = _cells_of(contents)
    changed: dict[str, bytes] = {}
    names = {info.filename: info.filename for info in infos}
    is_office = "[Content_Types].xml" in contents or "mimetype" in contents
    for info in infos:
        member = info.filename
        if not is_office and (spans := edit(member, always("the name of a file in it"))):
            names[member] = with_spans(member, spans)
        if info.is_dir():
            continue
        suffix = PurePosixPath(member).suffix.casefold()
        if suffix in MARKUP:
            try:
                new = edit_markup(contents[member], edit, lambda *at, part=member: _spot(part, cells, *at))
            except ValueError:
                new = inner(member, contents[member], _within(edit, member))
        else:
            new = inner(member, contents[member], _within(edit, member))
        if new != contents[member]:
            changed[member] = new
    spans = edit(comment.decode("utf-8", "replace"), always("the comment of the archive"))
    if not changed and not spans and names == {name: name for name in names}:
        return data
    if "mimetype" in contents:  # a picture of the first page shows what it showed
        changed, contents = _without_thumbnail(changed, contents)
    fresh = io.BytesIO()
    with zipfile.ZipFile(fresh, "w") as archive:
        archive.comment = b"" if spans else comment
        for info in infos:
            if info.filename in contents:
                entry = zipfile.ZipInfo(names[info.filename], info.date_time)
                entry.compress_type, entry.external_attr = info.compress_type, info.external_attr
                archive.writestr(entry, changed.get(info.filename, contents[info.filename]))
    return fresh.getvalue()


def _within(edit: Edit, member: str) -> Edit:
    """An edit that says in which member something is."""

    def told(text: str, where: Where) -> list[Span]:
        return list(edit(text, lambda at: say("{member}, {where}", member=member, where=where(at))))

    return told


def _without_thumbnail(
    changed: Mapping[str, bytes], contents: Mapping[str, bytes]
) -> tuple[dict[str, bytes], dict[str, bytes]]:
    kept = {name: data for name, data in contents.items() if not name.startswith("Thumbnails/")}
    listed = "META-INF/manifest.xml"
    if len(kept) == len(contents) or listed not in kept:
        return dict(changed), kept
    text = changed.get(listed, kept[listed]).decode("utf-8")
    text = re.sub(r"<manifest:file-entry[^>]*Thumbnails/[^>]*/>", "", text)
    return {**changed, listed: text.encode("utf-8")}, kept


# --- where in a workbook ---------------------------------------------------------------------------------------------


def _cells_of(contents: Mapping[str, bytes]) -> dict[str, dict[int, str]]:
    """Of a workbook, the sheet and cell of each shared text, and under "" nothing else."""
    cells: dict[int, str] = {}
    sheets = _sheets(contents)
    for part, title in sheets.items():
        text = contents[part].decode("utf-8", "replace")
        for found in re.finditer(r'<c r="([A-Z]+\d+)"[^>]*\bt="s"[^>]*><v>(\d+)</v>', text):
            cells.setdefault(int(found[2]), f"{title}!{found[1]}")
    return {"xl/sharedStrings.xml": cells, **{part: {0: title} for part, title in sheets.items()}}


def _sheets(contents: Mapping[str, bytes]) -> dict[str, str]:
    book, links = (
        contents.get(f"xl/{name}", b"").decode("utf-8", "replace")
        for name in ("workbook.xml", "_rels/workbook.xml.rels")
    )
    targets: dict[str, str] = {}
    for link in re.findall(r"<Relationship [^>]*>", links):
        said = dict(re.findall(r'(\w+)="([^"]*)"', link))
        targets[said.get("Id", "")] = said.get("Target", "").removeprefix("/xl/")
    found = {}
    for tag in re.findall(r"<sheet [^>]*>", book):
        said = dict(re.findall(r'([\w:]+)="([^"]*)"', tag))
        part = f"xl/{targets.get(said.get('r:id', ''), '')}"
        if part in contents:
            found[part] = said.get("name", "")
    return found


def _spot(part: str, cells: Mapping[str, Mapping[int, str]], element: str, tag: str, number: int) -> Sentence:
    """Where in an archive something is: a cell of a workbook, a comment, what the file says of itself."""
    if part == "xl/sharedStrings.xml" and number in cells[part]:
        title, _, spot = cells[part][number].rpartition("!")
        return say("sheet {sheet}, cell {cell}", sheet=title, cell=spot)
    if part in cells and part != "xl/sharedStrings.xml":
        cell = re.search(r'\br="([A-Z]+\d+)"', tag)
        sheet = cells[part][0]
        return (
            say("sheet {sheet}, cell {cell}", sheet=sheet, cell=cell[1]) if cell else say("sheet {sheet}", sheet=sheet)
        )
    if "omment" in part:
        ref = re.search(r'\bref="([A-Z]+\d+)"', tag)
        return say("a comment at cell {cell}", cell=ref[1]) if ref else say("the comments")
    if part.startswith("docProps/") or part == "meta.xml":
        return say("what the file says of itself")
    return say("its part {part}", part=part)
