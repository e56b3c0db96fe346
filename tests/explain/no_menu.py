"""Small invented projects that have no menu, each for another reason."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tests.commands.small import CONFIG, ITEMS, PRESCRIPTIONS, write_project

TWO = CONFIG.replace("[meals.breakfast]\n", """\
[people.tor]
name = "Tor"
sex = "male"
age = 40
mass_kg = 70
height_m = 1.8
energy = { kcal = 1500 }
[meals.breakfast]
""", 1).replace("gross_kg = 8", "gross_kg = 16")  # fmt: skip


def with_column(name: str, value: Callable[[list[str]], object]) -> str:
    """The items with one more column, of a function of each row's cells."""
    head, *rows = ITEMS.splitlines()
    return "\n".join([f"{head},{name}", *(f"{r},{value(r.split(','))}" for r in rows)]) + "\n"


def _iron(row: list[str]) -> float:
    if row[2] != "main":
        return 0.5
    return 5.0 if row[0] in ("barley_porridge", "egg_hash", "bean_stew", "lentil_curry") else 1.0


BREAKFASTS = ("barley_porridge", "millet_porridge", "egg_hash")
SALT = "salt_sachet,Salt sachet,condiment,dinner,powder,2,1,2,3,4,0,none,salt,free,0,0\n"


def _salted() -> str:
    head, *rows = (ITEMS + SALT).splitlines()
    amount = {"condiment": 780, "main": 300}
    return "\n".join([f"{head},NA_mg", *(f"{r},{amount.get(r.split(',')[2], 10)}" for r in rows)]) + "\n"


def _nuts_at_breakfast() -> str:
    rows = [
        r.replace(",free,", ",may_contain,") if r.startswith(BREAKFASTS) else r for r in ITEMS.splitlines()
    ]
    return "\n".join(rows) + "\n"


def _stock(packs: Mapping[str, int]) -> str:
    lots = [f"{i},first,a,2030-10-01,2033-01-01,2032-01-01,{n},released" for i, n in packs.items()]
    head = "item,load,lot,production_date,use_by,best_before,packs,state"
    return "\n".join([head, *lots]) + "\n"


@dataclass(frozen=True)
class NoMenu:
    """A project without a menu.

    Attributes
    ----------
    keys : set of str
        Config keys of the limits that conflict.
    role : str
        Who has a way out.
    words : str
        In the changes of one of the ways.
    """

    config: str
    keys: frozenset[str]
    role: str
    words: str
    items: str = ITEMS
    files: Mapping[str, str] = field(default_factory=dict)
    prescriptions: str = PRESCRIPTIONS

    def write(self, folder: Path) -> Path:
        """Write the project and return its config."""
        path = write_project(folder, self.config)
        (folder / "items.csv").write_text(self.items)
        (folder / "prescriptions.toml").write_text(self.prescriptions)
        scores = ["person,item,kind,date,score,remark"]
        for k, line in enumerate(self.items.splitlines()[1:]):
            for p, person in enumerate(("juno", "tor") if "[people.tor]" in self.config else ("juno",)):
                scores.append(f"{person},{line.split(',')[0]},serving,2031-01-10,{6 + (k + p) % 4 * 0.5},")
        (folder / "tasting.csv").write_text("\n".join(scores) + "\n")
        for name, text in self.files.items():
            (folder / name).write_text(text)
        return path


def _keys(*names: str) -> frozenset[str]:
    return frozenset(names)


PEANUTS = "prescriptions.people.juno.allergies.peanuts"
CASES: Mapping[str, NoMenu] = {
    "energy in the allowed mass": NoMenu(
        CONFIG.replace("gross_kg = 8", "gross_kg = 2.5").replace("kcal = 1500", "kcal = 1700"),
        _keys("stowage.gross_kg", "nutrients.energy.day_within"),
        "planner",
        "raise gross mass from 2.5 to",
    ),
    "an allergen leaves no breakfast": NoMenu(
        CONFIG, _keys(PEANUTS), "dietitian", "fewest servings of main at breakfast", _nuts_at_breakfast()
    ),
    "iron floor over iron ceiling": NoMenu(
        CONFIG + "[nutrients.limits.FE_mg.stay]\nlow = 9\n[nutrients.limits.FE_mg.day]\nhigh = 8\n",
        _keys("nutrients.limits.FE_mg.stay.low", "nutrients.limits.FE_mg.day.high"),
        "dietitian",
        "most iron",
        with_column("FE_mg", _iron),
    ),
    "stock": NoMenu(
        CONFIG + '[stock]\nfile = "stock.csv"\nunlisted = "order"\n',
        _keys("stock.first"),
        "planner",
        "more released packs of",
        files={"stock.csv": _stock({"mint_infusion": 3, "cocoa": 3})},
    ),
    "heater places": NoMenu(
        TWO + "[galley]\nplaces = 1\nrounds = 1\nround_min = 20\n",
        _keys("galley.rounds"),
        "planner",
        "places in the heaters from 1 to 2",
        with_column("heat_min", lambda row: 15 if row[2] == "main" else 0),
    ),
    "sodium of a condiment": NoMenu(
        CONFIG.replace("drink = { least = 1, most = 1, weight = 0.3 }\n[nutrients]",
                       "drink = { least = 1, most = 1, weight = 0.3 }\n"
                       "condiment = { least = 1, most = 1, weight = 0 }\n[nutrients]")
        + "[nutrients.limits.NA_mg.day]\nhigh = 900\n",
        _keys("nutrients.limits.NA_mg.day.high"),
        "dietitian",
        "raise most sodium",
        _salted(),
    ),
    "repeats in a small catalogue": NoMenu(
        CONFIG + '[repeats.fruit]\nof = "item"\ncourses = ["fruit"]\nmost_a_cycle = 1\n',
        _keys("repeats.fruit.most_a_cycle"),
        "dietitian",
        "raise repeats of fruit in a cycle from 1 to 2",
    ),
    "one stock for two": NoMenu(
        TWO + '[stock]\nfile = "stock.csv"\nunlisted = "order"\n'
        '[avoid.people.juno]\nitems = ["mint_infusion"]\n[avoid.people.tor]\nitems = ["mint_infusion"]\n',
        _keys("stock.first", "avoid.people.juno", "avoid.people.tor"),
        "planner",
        "more released packs of Cocoa",
        files={"stock.csv": _stock({"cocoa": 10})},
    ),
    "variety in the stowed volume": NoMenu(
        CONFIG.replace("gross_kg = 8", "volume_l = 4.5") + "[variety.distinct.all]\nat_least = 11\n",
        _keys("stowage.volume_l", "variety.distinct.all.at_least"),
        "planner",
        "stowage volume from 4.5 to",
    ),
    "a request against an allergy": NoMenu(
        CONFIG + '[requests.pot]\nitems = ["groundnut_soup_pot"]\nat_least = 1\n',
        _keys("requests.pot.at_least", PEANUTS),
        "planner",
        "lower fewest servings that the request pot asks for from 1 to 0",
    ),
}  # fmt: skip
