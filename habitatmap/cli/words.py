"""`habitatmap words AREA`: a workbook to change what pages and papers say, or to add a language."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("words")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--language", default="", help="The language, such as de or fi (default: that of area.toml).")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON on stdout.")
@click.option("--dry-run", is_flag=True, help="Say which workbook would be written, write nothing.")
def command(area: Path, language: str, as_json: bool, dry_run: bool) -> None:
    """Write AREA/words.LANGUAGE.xlsx with every text of pages and papers, to change some or to add a language.

    What is written into its column `say` is said instead; an earlier workbook's entries are kept.
    """
    from habitatmap.export.formats import json_text
    from habitatmap.read.folder import area_folder
    from habitatmap.read.settings import read_settings
    from habitatmap.words.catalogue import known_language
    from habitatmap.words.own import all_texts, write_own

    folder = area_folder(area)
    language = known_language(language or read_settings(folder).language)
    if dry_run:
        click.echo(f"Dry run: words.{language}.xlsx would be written; nothing was.")
        return
    path, own = write_own(folder, language)
    counts = {"texts": len(all_texts()), "kept": len(own.texts) + len(own.swaps)}
    if as_json:
        click.echo(json_text({"file": str(path), "language": language, **counts}), nl=False)
        return
    click.echo(f'{path} has every text. Fill in the column say, and put language = "{language}" into area.toml.')
