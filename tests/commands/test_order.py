"""Command `order`: the sheet against the run's own tables, its page, CSV and JSON, and a broken menu."""

from __future__ import annotations

import json
import math
import shutil
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner, Result

from optimenu.commands.app import app
from optimenu.config.case import load_case
from optimenu.exports.order_sheet import ORDER
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import write_folder
from optimenu.planning import plan
from tests.commands.called import main_ends
from tests.views.pair import MARKUP, OPTIONS, PAIR, write_pair

TASTING, QUALITY, SPARE, LOADING, PACKING, MADE = 3, 2, 10, 4, 9, 100
CONFIG = (
    PAIR.replace("cycle_days = 2", "cycle_days = 2\nloads = { first = { arrives = 2031-03-01 }, second = "
                 "{ arrives = 2031-03-04 } }")
    .replace('file = "stock.csv"', 'file = "stock.csv"\nunlisted = "order"')
    + f"""
[order]
tasting_packs = {TASTING}
quality_packs = {QUALITY}
spare_percent = {SPARE}
loading_days = {LOADING}
packing_days = {PACKING}
lead_days = {{ made = {MADE} }}
fewer_than = 2
"""
)  # fmt: skip
ARRIVES = {"first": date(2031, 3, 1), "second": date(2031, 3, 4)}


def write_case(folder: Path) -> Path:
    """Write the pair's project: two loads, some of the items in stock, some with order units."""
    path = write_pair(folder, CONFIG)
    items = pd.read_csv(folder / "items.csv", dtype=str, keep_default_na=False)
    items["open_hours"] = "9999"
    items["order_unit_packs"] = ["12" if k % 3 == 0 else "" for k in range(len(items))]
    items["smallest_batch_packs"] = ["50" if k % 4 == 0 else "" for k in range(len(items))]
    items["supply"] = ["made" if k % 2 == 0 else "" for k in range(len(items))]
    items["cost"] = ["1.25" if k % 5 else "" for k in range(len(items))]
    items.to_csv(folder / "items.csv", index=False)
    lots = ["item,load,lot,production_date,use_by,best_before,packs,state"]
    for load in ARRIVES:
        for name in items["id"][::2]:
            lots += [
                f"{name},{load},A,2031-01-02,2032-01-01,,16,released",
                f"{name},{load},B,2031-01-02,2032-01-01,,40,held",
            ]
        lots.append(f"cocoa,{load},C,2031-01-02,2031-02-01,,7,released")
        lots.append(f"cocoa,{load},D,2031-01-02,2032-01-01,,16,released")
    (folder / "stock.csv").write_text("\n".join(lots) + "\n")
    return path


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    planned = plan(load_case(write_case(folder / "project")), OPTIONS)
    return write_folder(folder / "runs" / "plan-001", run_files(planned, OPTIONS, {}))


def call(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


def by_hand(run: Path) -> pd.DataFrame:
    """Return packs by (load, item) from the run's tables alone: menu, stock and items as CSV."""
    menu = pd.read_csv(run / "menu.csv", keep_default_na=False)
    items = pd.read_csv(run / "inputs" / "items.csv", keep_default_na=False).set_index("id")
    stock = pd.read_csv(run / "inputs" / "stock.csv", keep_default_na=False)
    dates = [date(2031, 3, 1) + timedelta(days=k) for k in range(5)]
    rows = []
    for line in menu.itertuples():
        if line.block == "reserve":
            served = {"first": 1}
        else:
            mine = [d for k, d in enumerate(dates) if k % 2 + 1 == line.day]
            late = sum(d >= ARRIVES["second"] for d in mine)
            served = {"first": len(mine) - late, "second": late}
        condiment = line.block != "reserve" and line.course in ("condiment", "allowance")
        rows += [(line.party, line.item, load, line.block == "reserve", condiment, line.count * n)
                 for load, n in served.items() if n]  # fmt: skip
    table = pd.DataFrame(rows, columns=["party", "item", "load", "reserve", "condiment", "servings"])

    def packs(rows: pd.DataFrame) -> pd.Series:
        summed = rows.groupby(["load", "item", "party"], as_index=False)["servings"].sum()
        size = summed["item"].map(items["servings_per_pack"])
        summed["packs"] = [math.ceil(n / s) for n, s in zip(summed["servings"], size, strict=True)]
        return summed.groupby(["load", "item"])["packs"].sum()

    found = pd.DataFrame(index=packs(table).index)
    found["menu_packs"] = packs(table[~table.reserve & ~table.condiment])
    found["condiment_packs"] = packs(table[~table.reserve]).sub(found["menu_packs"].fillna(0))
    found["reserve_packs"] = packs(table[table.reserve])
    found = found.fillna(0).astype(int)
    seen: set[str] = set()
    for load, name in found.index:
        found.loc[(load, name), "tasting_packs"] = 0 if name in seen else TASTING
        seen.add(name)
    found["quality_packs"] = QUALITY
    base = found["menu_packs"] + found["condiment_packs"] + found["reserve_packs"]
    found["spare_packs"] = [-(-n * SPARE // 100) for n in base]
    good = stock[(stock.state == "released") & (stock.use_by >= "2031-03-05")]
    found["stock_packs"] = good.groupby(["load", "item"])["packs"].sum()
    found = found.fillna(0).astype(int)
    wanted = base + found["tasting_packs"] + QUALITY + found["spare_packs"]
    found["need_packs"] = (wanted - found["stock_packs"]).clip(lower=0)
    for load, name in found.index:
        need = found.loc[(load, name), "need_packs"]
        unit, batch = (int(items.loc[name, c] or 1) for c in ("order_unit_packs", "smallest_batch_packs"))
        n = need
        while n and (n % unit or n < batch):
            n += 1
        found.loc[(load, name), "order_packs"] = n
        found.loc[(load, name), "gross_g"] = n * items.loc[name, "gross_g"]
        found.loc[(load, name), "volume_ml"] = n * items.loc[name, "volume_ml"]
        cost = items.loc[name, "cost"]
        found.loc[(load, name), "cost"] = n * float(cost) if cost else math.nan
    return found.sort_index()


def test_every_sum_agrees_with_the_tables_to_the_pack(run: Path, tmp_path: Path) -> None:
    path = tmp_path / "order.csv"
    result = call("order", str(run), "--csv", str(path))
    assert result.exit_code == 0
    sheet = pd.read_csv(path, keep_default_na=False)
    assert tuple(sheet.columns) == ORDER
    expected = by_hand(run)
    found = sheet.set_index(["load", "item"]).sort_index()
    assert list(found.index) == list(expected.index)
    for column in expected.columns:
        numbers = pd.to_numeric(found[column])
        assert numbers.fillna(-1).tolist() == expected[column].fillna(-1).tolist(), column
    parts = ["menu", "condiment", "reserve", "tasting", "quality", "spare"]
    wanted = sum(sheet[f"{name}_packs"] for name in parts)
    assert (sheet["need_packs"] == (wanted - sheet["stock_packs"]).clip(lower=0)).all()
    # every kind of line is there
    assert (sheet["need_packs"] == 0).any() and (sheet["stock_packs"] == 0).any()
    assert (sheet["order_packs"] > sheet["need_packs"]).any() and (sheet["condiment_packs"] > 0).any()
    assert (sheet["reserve_packs"] > 0).any() and set(sheet["load"]) == {"first", "second"}


def test_dates_are_counted_back_from_the_arrival(run: Path, tmp_path: Path) -> None:
    path = tmp_path / "order.csv"
    call("order", str(run), "--csv", str(path))
    sheet = pd.read_csv(path, keep_default_na=False)
    # 1 and 4 March less 13 days; made 100 days before that
    assert dict(zip(sheet["load"], sheet["needed_by"], strict=True)) == {
        "first": "2031-02-16",
        "second": "2031-02-19",
    }
    made = sheet[sheet["supply"] == "made"]
    assert set(zip(made["load"], made["order_by"], strict=True)) == {
        ("first", "2030-11-08"),
        ("second", "2030-11-11"),
    }
    assert set(sheet[sheet["supply"] == ""]["order_by"]) == {""}


def test_a_file_that_exists_is_left_as_it_is(
    run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "order.csv"
    path.write_text("mine")
    assert main_ends(monkeypatch, "order", str(run), "--csv", str(path)) == 2
    assert "exists already and is not overwritten" in capsys.readouterr().err
    assert path.read_text() == "mine" and [p.name for p in tmp_path.iterdir()] == ["order.csv"]
    assert main_ends(monkeypatch, "order", str(run), "--csv", str(tmp_path / "none" / "order.csv")) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_json_holds_what_the_csv_does(run: Path, tmp_path: Path) -> None:
    path = tmp_path / "order.csv"
    result = call("order", str(run), "--json", "--csv", str(path))
    data = json.loads(result.stdout)
    assert data["holds"] is True and data["as_planned"] is True and data["breaches"] == []
    assert data["asked"]["lead_days"] == {"made": MADE, "bought": 30}
    assert data["must_not_have"] == ["peanuts"]
    sheet = pd.read_csv(path, dtype=str, keep_default_na=False)
    lines = [{k: "" if v is None else str(v) for k, v in line.items()} for line in data["lines"]]
    assert lines == sheet.to_dict("records")
    little = data["used_little"]
    assert little["fewer_than"] == 4 and all(i["servings"] < 4 for i in little["items"])


def test_the_page_says_what_to_order_and_what_is_not_known(run: Path) -> None:
    text = " ".join(call("order", str(run), "--all").stdout.split())
    assert text.startswith(
        "Order sheet: Two days 1 Mar 2031 to 5 Mar 2031: 5 dates, 2 people, 2 reserve days each"
    )
    assert "Load first, arrives 1 Mar 2031: needed by 16 Feb 2031" in text
    assert "Order by 8 Nov 2030, 100 days ahead" in text
    assert "Order by: not known; neither lead_days nor supply is stated" in text
    assert "held: 40 packs, lot B" in text
    assert "Order unit: packs ordered singly" in text and "Lead time: no date to order by" in text
    assert " single?" in text and "Cost: left out of the sum" in text
    assert "Shelf life: ask for the use-by date before ordering" in text
    assert "Lots named under an item are not counted" in text
    assert "Used little:" in text and "with fewer than 4 servings" in text
    assert "do not use" not in text


@pytest.mark.parametrize("columns", ["60", "80", "140"])
def test_the_page_fits_the_width_and_cuts_nothing(
    run: Path, columns: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    text = call("order", str(run), "--all").stdout
    assert max(map(len, text.splitlines())) <= int(columns)
    assert "…" not in text
    menu = (run / "menu.csv").read_text()
    if "fish_pie" in menu and columns != "60":
        assert set(MARKUP.split()) <= set(text.split())


def test_a_menu_that_breaks_limits_is_told_first_and_not_written(run: Path, tmp_path: Path) -> None:
    folder, path = tmp_path / "changed", tmp_path / "order.csv"
    shutil.copytree(run, folder)
    menu = folder / "menu.csv"
    text = menu.read_text()
    item = next(
        name
        for name in ("bean_stew", "lentil_curry", "fish_pie")
        if f"juno,cycle,1,dinner,main,{name}" in text
    )
    menu.write_text(
        text.replace(f"juno,cycle,1,dinner,main,{item}", "juno,cycle,1,dinner,main,groundnut_soup_pot", 1)
    )
    result = call("order", str(folder), "--csv", str(path))
    assert result.exit_code == 5
    assert " ".join(result.stdout.split()).startswith("This menu breaks")
    assert "contains: peanuts" in result.stdout
    assert "Order sheet" in result.stdout and "order nothing for it" in result.stderr
    assert not path.exists() and "is not written" in " ".join(result.stderr.split())
    data = call("order", str(folder), "--json")
    assert data.exit_code == 5 and json.loads(data.stdout)["holds"] is False


def test_a_sound_menu_that_was_not_planned_is_told(run: Path, tmp_path: Path) -> None:
    folder = tmp_path / "changed"
    shutil.copytree(run, folder)
    record = json.loads((folder / "record.json").read_text())
    record["value"] = "0.5"
    (folder / "record.json").write_text(json.dumps(record))
    result = call("order", str(folder))
    assert result.exit_code == 0
    assert result.stdout.strip().startswith("This is not the menu that was planned.")
    assert json.loads(call("order", str(folder), "--json").stdout)["as_planned"] is False


def test_what_stock_covers_is_shown_only_when_asked_for(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    # 60 packs of everything, nothing asked beyond menu and reserve: nothing to order
    folder = tmp_path_factory.mktemp("covered")
    planned = plan(load_case(write_pair(folder / "project")), OPTIONS)
    made = write_folder(folder / "runs" / "plan-001", run_files(planned, OPTIONS, {}))
    text = call("order", str(made)).stdout
    assert "Nothing to order: stock covers everything." in text
    assert "Load first" not in text and "Cautions" not in text
    everything = call("order", str(made), "--all").stdout
    assert "Load first" in everything and "Salt sachet" in everything


def test_long_lists_are_cut_unless_asked_for(run: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optimenu.views.order.SHORT_LIST", 1)
    used = json.loads(call("order", str(run), "--json").stdout)["used_little"]["items"]
    assert len(used) > 1
    assert f"{len(used) - 1} more; all of them with --all" in call("order", str(run)).stdout
    assert "more; all of them" not in call("order", str(run), "--all").stdout
