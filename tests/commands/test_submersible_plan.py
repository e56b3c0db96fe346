"""The submersible planned with few moves, then judged with pandas from the menu and the tables alone."""

from __future__ import annotations

import tomllib
from collections import Counter
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest

from optimenu.config.case import load_case
from optimenu.exports.record import run_files
from optimenu.exports.run_folder import write_folder
from optimenu.planning import Options, plan

ROOT = Path(__file__).parents[2]
FIRST = date(2028, 5, 8)
OWN = ["arrival", "queasy_1", "queasy_2", "late_1", "eve", "late_2", "feast"]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    options = Options(moves=1_000_000)
    planned = plan(load_case(ROOT / "configs" / "submersible.toml"), options)
    assert planned.report is not None and planned.report.holds
    folder = tmp_path_factory.mktemp("runs") / "submersible-001"
    return write_folder(folder, run_files(planned, options, {}))


@pytest.fixture(scope="module")
def config() -> dict:
    return tomllib.loads((ROOT / "configs" / "submersible.toml").read_text())


@pytest.fixture(scope="module")
def eaten(run: Path, config: dict) -> pd.DataFrame:
    """One row for each line of the menu, date and person who eats it, with the item beside it."""
    menu = pd.read_csv(run / "menu.csv", keep_default_na=False)
    items = pd.read_csv(ROOT / "catalogs" / "items.csv", keep_default_na=False, na_values=[""]).set_index(
        "id"
    )
    dated = {w: k + 1 for k, name in enumerate(OWN) for w in config["dates"][name]["on"]}
    stay = [FIRST + timedelta(days=k) for k in range(21)]
    days = [("dated", dated[w]) if w in dated else ("cycle", k % 7 + 1) for k, w in enumerate(stay)]
    dates = pd.DataFrame({"date": stay, "block": [b for b, _ in days], "day": [d for _, d in days]})
    parties = {name: table["members"] for name, table in config["parties"].items()}

    def members(party: str) -> list[str]:
        # "port without greta": the part of a party that is at table
        whole, _, missing = party.partition(" without ")
        return [p for p in parties.get(whole, [party]) if p not in missing.split()]

    rows = menu[menu.block != "reserve"].merge(dates, on=["block", "day"])
    rows["person"] = rows.party.map(members)
    return rows.explode("person").join(items, on="item")


def test_the_feast_is_one_dish_on_its_date(eaten: pd.DataFrame) -> None:
    feast = eaten[(eaten.date == date(2028, 5, 28)) & (eaten.meal == "lunch") & (eaten.course == "main")]
    assert feast.person.nunique() == 8 and feast.item.nunique() == 1


def test_a_watch_eats_from_one_pot(eaten: pd.DataFrame, config: dict) -> None:
    for name in ("port", "starboard"):
        crew = config["parties"][name]["members"]
        pots = eaten[eaten.person.isin(crew) & (eaten.meal == "dinner") & eaten.course.isin(["soup", "main"])]
        pots = pots[pots.date.map(lambda w: date(2028, 5, 11) <= w <= date(2028, 5, 24))]
        assert (pots.groupby(["date", "course"]).item.nunique() == 1).all()
        assert (pots.groupby(["date", "course"]).person.nunique() == 4).all()


def test_the_fast_is_kept(eaten: pd.DataFrame) -> None:
    hers = eaten[(eaten.person == "greta") & eaten.date.isin([date(2028, 5, 25), date(2028, 5, 27)])]
    assert set(hers.meal) == {"dinner", "snack"}
    meatless = eaten[(eaten.person == "greta") & (eaten.date == date(2028, 5, 26))]
    assert (meatless.diet_vegetarian == "yes").all()


def test_the_coeliac_changes_the_dish_and_keeps_the_seat(eaten: pd.DataFrame) -> None:
    his = eaten[eaten.person == "bjarne"]
    assert (his.allergen_gluten == "free").all() and (his.allergen_wheat == "free").all()
    shared = his[his.party != "bjarne"]
    # he eats with his watch every day it shares a pot: soup and main on fourteen dates and more
    assert len(shared) >= 28


def test_nuts_stay_away_from_who_is_severely_allergic(eaten: pd.DataFrame) -> None:
    hers = eaten[eaten.person == "femi"]
    assert (hers.allergen_tree_nuts == "free").all() and (hers.allergen_peanuts == "free").all()


def test_four_places_plan_in_rounds(eaten: pd.DataFrame, config: dict) -> None:
    galley = config["galley"]
    most = galley["places"] * galley["packs_per_place"] * galley["rounds"]
    times = {p: w["meals"] for w in config["watches"].values() for p in w["people"]}
    heated = eaten[eaten.heat_min.fillna(0) > 0].copy()
    assert (heated.heat_min <= galley["round_min"]).all()
    heated["at"] = [
        times[p].get(m, config["meals"][m]["at"]) for p, m in zip(heated.person, heated.meal, strict=True)
    ]
    # a pot takes the packs its people need, once; single dishes take a pack each
    heads = heated.groupby(["date", "meal", "at", "party", "course", "item"]).person.nunique()
    counts = heated.groupby(["date", "meal", "at", "party", "course", "item"])["count"].first()
    size = heated.groupby(["date", "meal", "at", "party", "course", "item"]).servings_per_pack.first()
    packs = -(-heads // size) * counts
    sittings = packs.groupby(["date", "meal", "at"]).sum()
    assert sittings.max() <= most
    # without rounds the four places would not do
    assert sittings.max() > galley["places"]


def test_totals_are_the_sum_over_the_dates(run: Path, eaten: pd.DataFrame, config: dict) -> None:
    totals = pd.read_csv(run / "totals.csv", keep_default_na=False)
    stay = totals[totals.key == "nutrients.energy.stay_within"].groupby("person").most.first().astype(float)
    mine = (eaten.ENERC_KCAL_kcal * eaten["count"])[eaten.certain == "yes"].groupby(eaten.person).sum()
    assert mine.round(6).to_dict() == stay.round(6).to_dict()
    water = totals[totals.key == "water.crew_l"].most.astype(float).iloc[0]
    # twenty whole dates, and the part of the arrival's that is spent aboard
    dates = 20 + config["dates"]["arrival"]["share"]
    plain = config["water"]["plain_ml"] * 8 * dates
    assert (eaten.water_ml * eaten["count"]).sum() + plain == pytest.approx(water)
    volume = totals[totals.key == "stowage.volume_l"].most.astype(float).iloc[0]
    assert volume <= config["stowage"]["volume_l"] * 1000


def test_every_date_is_planned_once(eaten: pd.DataFrame) -> None:
    served = Counter(eaten.groupby("person").date.nunique())
    assert served == Counter({21: 8})
