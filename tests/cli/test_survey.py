"""`habitatmap survey`: whole or not at all, into its own folder, with exit codes a script can trust."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from habitatmap.cli.survey import command
from habitatmap.errors import InputError
from habitatmap.vocabulary.other_tables import OTHER_TABLES
from tests.demo import DEMO, copy_records

FILES = {"survey.html", "pools.csv", "estimates.csv", "models.csv", "effects.csv", "effort.csv", "survey.json"}
FILES |= {"pool_types.csv", "differences.csv", "species_by_pool_type.csv", "lifetimes.csv", "standing.csv"}
FILES |= {"incidents.csv", "complaints.csv", "similar_names.csv"}


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo town's records without its land cover, which the survey can do without."""
    return copy_records(tmp_path_factory.mktemp("town"))


@pytest.fixture(scope="module")
def done(town: Path) -> Result:
    return run(town, "--json")


@pytest.fixture
def without_visits(tmp_path: Path) -> Path:
    shutil.copy(DEMO / "pools.csv", tmp_path / "pools.csv")
    (tmp_path / "area.toml").write_text('crs = "EPSG:25832"\nas_of = 2025-10-15\n', encoding="utf-8")
    return tmp_path


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(command, [str(a) for a in arguments], catch_exceptions=False)


def test_it_writes_its_own_folder_and_nothing_else(town: Path, done: Result) -> None:
    assert done.exit_code == 0
    assert {p.name for p in town.iterdir()} == {"area.toml", "pools.csv", "visits.csv", "survey"}
    assert {p.name for p in (town / "survey").iterdir()} >= FILES
    told = json.loads(done.stdout)
    assert told == json.loads((town / "survey" / "survey.json").read_text(encoding="utf-8"))
    assert told["occupancy"]["naive"] < told["occupancy"]["estimate"]
    estimates = pd.read_csv(town / "survey" / "estimates.csv", float_precision="round_trip").set_index("figure")
    assert estimates.loc["occupancy", "value"] == told["occupancy"]["estimate"]
    assert (estimates["low"].dropna() <= estimates["value"][estimates["low"].notna()] + 1e-9).all()
    models = pd.read_csv(town / "survey" / "models.csv")
    assert models["aic"].dropna().is_monotonic_increasing
    assert models.loc[models["aic"].isna(), "why"].notna().all()
    assert "not tried: it is not given for 45 of 45" in models.set_index("psi").loc["forage_score", "why"]
    pools = pd.read_csv(town / "survey" / "pools.csv")
    assert pools["searches"].sum() == told["occupancy"]["searches"]
    assert (pools.loc[pools["found"] > 0, "occupancy"] == 1).all()


@pytest.mark.usefixtures("done")
def test_every_column_is_explained(town: Path) -> None:
    written = {f"survey/{file.name}": file for file in (town / "survey").glob("*.csv")}
    assert set(written) == {name for name in OTHER_TABLES if name.startswith("survey/")}
    for name, file in written.items():
        assert pd.read_csv(file).columns.tolist() == list(OTHER_TABLES[name].columns), name


@pytest.mark.usefixtures("done")
def test_the_same_records_give_the_same_bytes(town: Path, tmp_path: Path) -> None:
    turned = tmp_path / "turned"
    shutil.copytree(town, turned, ignore=shutil.ignore_patterns("survey"))
    lines = (turned / "visits.csv").read_text(encoding="utf-8").splitlines()
    (turned / "visits.csv").write_text("\n".join([lines[0], *lines[:0:-1]]), encoding="utf-8")
    assert "Goodness of fit" in run(turned).stdout
    for name in FILES:
        assert (town / "survey" / name).read_bytes() == (turned / "survey" / name).read_bytes(), name


def test_no_visit_is_a_result_with_a_word(without_visits: Path) -> None:
    done = run(without_visits, "--hours", "20", "--semicolons")
    assert done.exit_code == 0
    assert (without_visits / "survey" / "pools.csv").read_text(encoding="utf-8").startswith("\ufeffpool;")
    assert "No search counts" in done.stdout
    assert "20 hours (as given)" in (without_visits / "survey" / "survey.html").read_text(encoding="utf-8")
    assert run(without_visits, "--strict").exit_code == 1


def test_a_strangers_table_is_not_replaced(town: Path, tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"pools\.csv"):
        run(town, "--out", tmp_path)
    assert (tmp_path / "pools.csv").read_text(encoding="utf-8") == "mine"
