"""Small invented projects on disk: one person for two days, three for five, of fourteen items."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

ITEMS = """\
id,name,courses,meals,form,serving_g,servings_per_pack,net_g,gross_g,volume_ml,water_ml,water_kind,\
main_ingredient,allergen_peanuts,ENERC_KCAL_kcal,PROCNT_g
barley_porridge,Barley porridge,main,breakfast,dried,90,1,90,98,150,180,hot,barley,free,340,11
millet_porridge,Millet porridge,main,breakfast,dried,90,1,90,98,150,180,hot,millet,free,350,9
egg_hash,Egg hash,main,breakfast,freeze-dried,80,1,80,92,240,150,hot,egg,free,380,24
bean_stew,Bean stew,main,dinner,retorted,300,1,300,330,320,0,none,beans,free,420,22
fish_pie,Fish pie,main,dinner,freeze-dried,110,1,110,125,330,220,hot,cod,free,460,31
lentil_curry,Lentil curry,main,dinner,retorted,300,1,300,330,320,0,none,lentils,free,430,20
groundnut_soup_pot,Groundnut pot,main,dinner,retorted,300,1,300,330,320,0,none,peanuts,contains,520,21
pear_halves,Pear halves,fruit,breakfast;dinner,canned,150,1,150,180,170,0,none,pear,free,90,0.5
apple_rings,Apple rings,fruit,breakfast;dinner,dried,40,1,40,46,90,0,none,apple,free,100,0.4
plum_compote,Plum compote,fruit,breakfast;dinner,retorted,120,1,120,135,130,0,none,plum,free,110,0.6
rye_bread,Rye bread,bread,breakfast;dinner,baked,60,8,480,500,900,0,none,rye,free,150,5
oat_cake,Oat cake,bread,breakfast;dinner,baked,40,6,240,255,400,0,none,oats,free,170,4
mint_infusion,Mint infusion,drink,breakfast;dinner,dried,2,1,2,3,9,250,hot,mint,free,2,0
cocoa,Cocoa,drink,breakfast;dinner,powder,30,1,30,34,48,200,hot,cocoa,free,130,7
"""

CONFIG = """\
name = "Two days"
[catalogue]
file = "items.csv"
[tasting]
file = "tasting.csv"
[prescriptions]
file = "prescriptions.toml"
[stay]
first_date = 2031-03-01
last_date = 2031-03-04
cycle_days = 2
[people.juno]
name = "Juno"
sex = "female"
age = 34
mass_kg = 60
height_m = 1.66
energy = { kcal = 1500 }
[meals.breakfast]
at = "07:30"
[meals.breakfast.courses]
main = { least = 1, most = 1, weight = 1.0 }
fruit = { least = 1, most = 1, weight = 0.5 }
drink = { least = 1, most = 1, weight = 0.3 }
[meals.dinner]
at = "18:30"
[meals.dinner.courses]
main = { least = 1, most = 1, weight = 1.0 }
bread = { least = 1, most = 2, weight = 0 }
fruit = { least = 1, most = 1, weight = 0.5 }
drink = { least = 1, most = 1, weight = 0.3 }
[nutrients]
energy = { day_within = 20, stay_within = 15 }
reference = { use = false }
[repeats.same_dish]
of = "item"
courses = ["main"]
most_a_day = 1
gap_days = 2
[stowage]
gross_kg = 8
"""

PRESCRIPTIONS = """\
[people.juno]
by = "physician of the invented crew"
date = 2031-01-15
[people.juno.allergies]
peanuts = "severe"
"""


def write_project(folder: Path, config: str = CONFIG) -> Path:
    """Write the project into ``folder`` and return the path of its config."""
    folder.mkdir(parents=True, exist_ok=True)
    scores = ["person,item,kind,date,score,remark"]
    for k, line in enumerate(ITEMS.splitlines()[1:]):
        scores.append(f"juno,{line.split(',')[0]},serving,2031-01-10,{6 + k % 4 * 0.5},")
    (folder / "items.csv").write_text(ITEMS)
    (folder / "tasting.csv").write_text("\n".join(scores) + "\n")
    (folder / "prescriptions.toml").write_text(PRESCRIPTIONS)
    (folder / "pyproject.toml").touch()
    path = folder / "plan.toml"
    path.write_text(config)
    return path


_MORE = """\
[people.{0}]
name = "{0}"
sex = "male"
age = 40
mass_kg = 70
height_m = 1.8
energy = {{ kcal = {1} }}
"""
CREW = (
    CONFIG.replace("last_date = 2031-03-04", "last_date = 2031-03-12")
    .replace("cycle_days = 2", "cycle_days = 5")
    .replace("gross_kg = 8", "gross_kg = 30")
    + _MORE.format("mira", 1450)
    + _MORE.format("tor", 1550)
)
"""Three people who share a tight cap: no search of some 100,000 moves reaches the bound."""


def write_crew(folder: Path) -> Path:
    """Write the project of the three into ``folder`` and return the path of its config."""
    path = write_project(folder, CREW)
    rng = Random(5)
    scores = ["person,item,kind,date,score,remark"]
    for person in ("juno", "mira", "tor"):
        for line in ITEMS.splitlines()[1:]:
            scores.append(f"{person},{line.split(',')[0]},serving,2031-01-10,{rng.randint(50, 90) / 10},")
    (folder / "tasting.csv").write_text("\n".join(scores) + "\n")
    return path
