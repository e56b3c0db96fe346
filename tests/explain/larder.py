"""A small project in which it is known by hand why each dish is or is not on the menu.

One person, two plan days of two dates. Dinner has one main a day and none comes twice, so two of three:
bean stew (score 7.5), lentil curry (6.5) and fish pie (8.5), which takes 1,300 mL of stowed volume where
the others take 320. The groundnut pot holds peanuts, to which the person is severely allergic. Plum compote
is scored under the floor; nobody has tasted the apple rings. Bread is optional and liking does not count.
"""

from __future__ import annotations

from pathlib import Path

from optimenu.config.case import Case, load_case
from tests.commands import small

SCORES = {
    "barley_porridge": "6", "millet_porridge": "6.5", "egg_hash": "7", "bean_stew": "7.5", "fish_pie": "8.5",
    "lentil_curry": "6.5", "groundnut_soup_pot": "9", "pear_halves": "7.5", "plum_compote": "4",
    "rye_bread": "7", "oat_cake": "7.5", "mint_infusion": "6", "cocoa": "6.5",
}  # fmt: skip
ITEMS = small.ITEMS.replace("110,1,110,125,330,220", "110,1,110,125,1300,220")
TIGHT_L = "5"


def larder(folder: Path, volume_l: str = TIGHT_L, **scores: str) -> Path:
    """Write the project with a cap on volume, and scores that differ; return the path of its config."""
    text = small.CONFIG.replace("gross_kg = 8", f"volume_l = {volume_l}")
    path = small.write_project(folder, text)
    (folder / "items.csv").write_text(ITEMS)
    lines = [f"juno,{item},serving,2031-01-10,{score}," for item, score in {**SCORES, **scores}.items()]
    (folder / "tasting.csv").write_text("\n".join(["person,item,kind,date,score,remark", *lines]) + "\n")
    return path


def larder_case(folder: Path, volume_l: str = TIGHT_L, **scores: str) -> Case:
    """The case of `larder`."""
    return load_case(larder(folder, volume_l, **scores))
