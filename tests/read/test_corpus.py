"""Every file of the corpus, read as an area: no id lost, no value changed, read = accepted + set aside."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from habitatmap import open_area

from .corpus import AREA_TOML, CASES, METRES, SPOTS, Case


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_file_gives_back_its_true_rows(case: Case, tmp_path: Path) -> None:
    (tmp_path / "area.toml").write_text(AREA_TOML, encoding="utf-8")
    for name, content in case.files.items():
        (tmp_path / name).write_bytes(content)
    area = open_area(tmp_path)
    frame = getattr(area, case.kind)
    assert sorted(frame["pool"]) == sorted(case.accepted), area.ledger.frame().to_string()
    aside = area.ledger.frame()
    aside = aside[aside["file"].str.startswith(case.kind) & aside["row"].notna()]
    assert sorted({int(row) for row in aside["row"]}) == case.aside
    counts = area.ledger.counts()[case.kind]
    assert counts == {
        "read": len(case.accepted) + len(case.aside),
        "accepted": len(frame),
        "set_aside": len(case.aside),
    }
    if case.kind == "pools":
        for row in frame.itertuples():
            if row.pool in SPOTS:
                assert (row.x, row.y) == pytest.approx(METRES.transform(*SPOTS[row.pool]), abs=0.5)
    for column, values in case.values.items():
        wanted = pd.to_datetime(values).tolist() if column == "date" else values
        assert frame[column].tolist() == wanted
