"""An invented project of two people with all that screens tell apart: allowance, reserve, soft limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.config.case import load_case
from optimenu.planning import Options, Planned, plan
from tests.commands.small import CONFIG, ITEMS, write_project

if TYPE_CHECKING:
    from pathlib import Path

OPTIONS = Options(method="direct")
MARKUP = "Fish pie [hot] with [/b] leek and thyme-roasted celeriac"
PAIR = (
    CONFIG.replace("last_date = 2031-03-04", "last_date = 2031-03-05")
    .replace("gross_kg = 8", "gross_kg = 40")
    .replace("cycle_days = 2", "cycle_days = 2\nkinds = { rest = [2] }")
    .replace("reference = { use = false }", "reference = { use = true }")
    + """
[people.bo]
name = "Bo [bold]"
sex = "male"
age = 40
mass_kg = 70
height_m = 1.8
energy = { kcal = 1700 }
[nutrients.limits.PROCNT_g.day]
low = 190
high = 300
price = 0.000001
[condiments.free.salt]
item = "salt_sachet"
a_day = 2
people = ["bo"]
[stock]
file = "stock.csv"
[reserve]
days = 2
low_kcal = 300
high_kcal = 2000
without_heat = false
[reserve.meals.spare]
at = "12:00"
[reserve.meals.spare.courses]
main = { least = 1, most = 2, weight = 0 }
"""
)


def write_pair(folder: Path, config: str = PAIR) -> Path:
    """Write the project and return the path of its config."""
    path = write_project(folder, config)
    items = ITEMS.replace("Fish pie", MARKUP)
    # an item that does not state its protein
    items = items.replace("rye,free,150,5\n", "rye,free,150,\n")
    items += "salt_sachet,Salt sachet,condiment,dinner,powder,1,1,1,1.5,2,0,none,salt,free,0,0\n"
    (folder / "items.csv").write_text(items)
    scores = (folder / "tasting.csv").read_text()
    more = [f"bo,{line.split(',')[0]},sample,2031-01-10,7," for line in items.splitlines()[1:]]
    (folder / "tasting.csv").write_text(scores + "\n".join(more) + "\n")
    lots = ["item,load,lot,production_date,use_by,best_before,packs,state"]
    for line in items.splitlines()[1:]:
        lots.append(f"{line.split(',')[0]},first,L1,2031-01-02,2032-01-01,,60,released")
    lots.append("cocoa,first,L2,2031-01-02,2031-03-03,,5,released")
    lots.append("cocoa,first,L3,2031-01-02,2032-01-01,,5,held")
    (folder / "stock.csv").write_text("\n".join(lots) + "\n")
    return path


def plan_pair(folder: Path, config: str = PAIR) -> Planned:
    """Plan it by the plain model."""
    return plan(load_case(write_pair(folder, config)), OPTIONS)
