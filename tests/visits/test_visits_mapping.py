"""The map that a user writes: what it can say, and what is said about a wrong one."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from tapwear.errors import UsageError
from tapwear.visits.mapping import own_names
from tapwear.visits.mapping_file import load_mapping, parse_mapping
from tapwear.visits.reading import read_paths
from tapwear.visits.types import Below

MAPS = Path(__file__).parents[2] / "data" / "maps"


def test_a_map_says_everything_about_a_file() -> None:
    mapping = parse_mapping(
        """
        [[feed]]
        file = "export_*.csv"
        table = "samples"
        date_format = "DD.MM.YYYY"
        encoding = "cp1252"
        delimiter = "semicolon"
        decimal_comma = true
        ignore = ["page"]
        where = { sheet = ["Oil", "oil "] }
        [feed.columns]
        unit = "Trafo"
        [feed.fixed]
        breakdown_gap_mm = 2.5
        [feed.units]
        moisture_mg_per_kg = "ppm"
        [feed.words.acetylene_ul_per_l]
        ND = "<0.5"
        """,
        "my.toml",
    )
    feed = mapping.feeds[0]
    assert (feed.table, feed.delimiter, feed.encoding, feed.decimal_comma) == ("samples", ";", "cp1252", True)
    assert feed.fixed == {"breakdown_gap_mm": "2.5"}
    assert feed.words == {"acetylene_ul_per_l": {"nd": "<0.5"}}
    assert feed.where == {"sheet": ("oil", "oil")}
    assert feed.takes(Path("lab/Export_March.CSV"))
    assert not feed.takes(Path("lab/export.csv"))


def test_a_pattern_with_a_folder_tells_files_of_one_name_apart() -> None:
    feed = parse_mapping('[[feed]]\nfile = "north/units.csv"\ntable = "units"', "my.toml").feeds[0]
    assert feed.takes(Path("a/north/units.csv"))
    assert not feed.takes(Path("a/south/units.csv"))


def test_without_a_map_a_file_feeds_the_table_that_it_is_named_after() -> None:
    names = own_names()
    assert [feed.table for feed in names.feeds_of(Path("x/readings.csv"))] == ["readings"]
    assert [feed.table for feed in names.feeds_of(Path("Readings_2024.csv"))] == ["readings"]
    assert [feed.table for feed in names.feeds_of(Path("service_rules.csv"))] == ["service_rules"]
    assert names.feeds_of(Path("my readings.csv")) == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x = [", "is not TOML"),
        ("", r"needs at least one \[\[feed\]\]"),
        ("[feed]\nfile = 'a'", r"needs at least one \[\[feed\]\]"),
        ("[[feeds]]\nfile = 'a'", "Did you mean 'feed'"),
        ("[[feed]]\ntable = 'units'", "needs file ="),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'unit'", "there is no table 'unit'. Did you mean 'units'"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\ncolumn = 1", "Did you mean 'columns'"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\n[feed.columns]\nregoin = 'x'", "Did you mean 'region'"),
        (
            "[[feed]]\nfile = 'a.csv'\ntable = 'units'\ncolumns.unit = 'x'\nfixed.unit = 'T1'",
            "Keep one",
        ),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\n[feed.fixed]\nstate = 'broken'", "none of the known words"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'events'\n[feed.words.kind]\na = 'b'", "none of the known words"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\n[feed.units]\noil_volume_l = 'barrel'", "'barrel'.* is not known"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\n[feed.units]\nunit = 'l'", "no field with a unit of measure"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\nencoding = 'klingon'", "encoding 'klingon' is not known"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\nencoding = 'base64'", "encoding 'base64' is not known"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\ndelimiter = ', '", "is not one mark"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\ndate_format = 'MM/YY'", "day, month and year"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\ndecimal_comma = 'yes'", "true or false"),
        ("[[feed]]\nfile = 'a.csv'\ntable = 'units'\ncolumns = 'x'", "has to be a table"),
    ],
)
def test_a_wrong_map_is_explained_before_any_file_is_read(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse_mapping(text, "my.toml")


def test_a_map_that_is_not_there_or_not_text_is_explained(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        load_mapping(tmp_path / "none.toml")
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UsageError, match="not written in UTF-8"):
        load_mapping(tmp_path / "odd.toml")


@pytest.mark.parametrize("path", sorted(MAPS.glob("*.toml")), ids=lambda path: path.name)
def test_every_map_that_comes_with_the_program_is_a_right_one(path: Path) -> None:
    assert load_mapping(path).feeds


def test_every_map_in_the_guide_is_a_right_one_and_every_setting_is_explained_there() -> None:
    guide = (MAPS / "README.md").read_text(encoding="utf-8")
    maps = re.findall(r"```toml\n(.*?)```", guide, re.S)
    assert len(maps) == 5
    assert all(parse_mapping(text, "guide").feeds for text in maps)
    used = set(re.findall(r"^\[*(?:feed\.)?(\w+)", "\n".join(maps), re.M))
    assert used >= {
        *("file", "table", "columns", "fixed", "units", "words", "where", "ignore"),
        *("date_format", "encoding", "delimiter", "decimal_comma", "long", "sheet"),
    }


def test_the_worked_example_of_the_guide_does_what_it_says(tmp_path: Path) -> None:
    guide = (MAPS / "README.md").read_text(encoding="utf-8")
    (table,) = re.findall(r"```csv\n(.*?)```", guide, re.S)
    (tmp_path / "lab_2026.csv").write_text(table, encoding="utf-8")
    text = next(text for text in re.findall(r"```toml\n(.*?)```", guide, re.S) if "lab_*" in text)
    intake = read_paths([tmp_path], parse_mapping(text, "guide"))
    compartment, tank = intake.rows
    assert compartment.values == {
        "unit": "NORTH-T1", "sampled_on": date(2026, 6, 3), "taken_from": "compartment",
        "hydrogen_ul_per_l": 12.5, "acetylene_ul_per_l": Below(0.5), "oil_temp_c": pytest.approx(20.0),
    }  # fmt: skip
    assert (tank.values["taken_from"], tank.values["acetylene_ul_per_l"]) == ("main_tank", 0.7)
    assert [(one.line, one.severity) for one in intake.findings] == [(4, "left aside")]
