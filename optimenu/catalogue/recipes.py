"""Nutrients of a catalogue from its recipes: sum, remove water, add, round as on a label.

A recipe file has one line per ingredient of one serving: ``item, ingredient, grams, amount, sugars,
note``. ``ingredient`` is the exact description of a row of a food-composition table (values per
100 g), or one of two handlings, which have an ``amount`` instead of ``grams``:

- ``add:TAGNAME_unit``: fortification, in the column's unit; its own mass is neglected.
- ``remove:WATER``: g of water lost in drying, baking or boiling down.

``sugars`` says whose sugars an ingredient brings: empty, its own; ``added``, a sweetener, all of them
added; ``mixed``, a bought mixture, the added part unknown.

Run as ``python -m optimenu.catalogue.recipes ITEMS RECIPES COMPOSITION OUT``: writes ITEMS to OUT
with every nutrient column filled anew from the recipes. OUT may be ITEMS itself.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING

from optimenu.errors import Fault, InputFaults, nearest
from optimenu.nutrition.nutrients import BY_COLUMN

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

ORIGIN = "recipe sum, rounded as on a label"
RECIPE_COLUMNS = ("item", "ingredient", "grams", "amount", "sugars", "note")
MISSING_SHARE = Decimal("0.05")
"""A nutrient unknown in ingredients that together make more than this share of the mass is unknown in
the item; below it the known part is the value. Our own choice, no source."""

NOT_CARRIED = ("STARCH_g", "ID_ug", "NIAEQ_mg")
"""Unknown in nearly every row of the composition table used, or not in it."""
FILLED = tuple(c for c in BY_COLUMN if c not in NOT_CARRIED)
UPPER_FROM = {"SUGAD_g": "SUGAR_g", "NIA_ADD_mg": "NIA_mg"}
"""Where the added part is unknown, it is at most the whole."""

CARRIES: dict[str, tuple[tuple[str, Decimal], ...]] = {
    "NIA_ADD_mg": (("NIA_mg", Decimal(1)),),
    "TOCPHA_ADD_mg": (("TOCPHA_mg", Decimal(1)),),
    "RETOL_ug": (("VITA_RAE_ug", Decimal(1)),),
    "FOLAC_ug": (("FOL_ug", Decimal(1)), ("FOLDFE_ug", Decimal("1.7"))),
}
"""What an addition adds to besides its own column. 1 ug folic acid = 1.7 ug DFE, 1 ug retinol = 1 ug
RAE: Institute of Medicine, Dietary Reference Intakes, 1998 and 2001."""

DAILY_VALUES: dict[str, Decimal | int] = {
    "VITA_RAE_ug": 900, "VITC_mg": 90, "CA_mg": 1300, "FE_mg": 18, "VITD_ug": 20, "TOCPHA_mg": 15,
    "VITK1_ug": 120, "THIA_mg": Decimal("1.2"), "RIBF_mg": Decimal("1.3"), "NIA_mg": 16,
    "VITB6A_mg": Decimal("1.7"), "FOLDFE_ug": 400, "VITB12_ug": Decimal("2.4"), "PANTAC_mg": 5,
    "P_mg": 1250, "MG_mg": 420, "ZN_mg": 11, "SE_ug": 55, "CU_mg": Decimal("0.9"),
    "MN_mg": Decimal("2.3"), "K_mg": 4700, "CHOLN_mg": 550,
}  # fmt: skip
"""Label reference values: 21 CFR 101.9(c)(8)(iv), 2016 rule. They set the rounding of vitamins."""

_KCAL = ((5, 0), (50, 5), (None, 10))
_FATS = ((Decimal("0.5"), 0), (5, Decimal("0.5")), (None, 1))
_GRAMS = ((Decimal("0.5"), 0), (1, None), (None, 1))
_STEPS: dict[str, tuple[tuple[Decimal | int | None, Decimal | int | None], ...]] = {
    "ENERC_KCAL_kcal": _KCAL,
    **dict.fromkeys(("FAT_g", "FASAT_g", "FAMS_g", "FAPU_g", "FATRN_g"), _FATS),
    **dict.fromkeys(("PROCNT_g", "CHOCDF_g", "FIBTG_g", "SUGAR_g", "SUGAD_g"), _GRAMS),
    "CHOLE_mg": ((2, 0), (5, None), (None, 5)),
    "NA_mg": ((5, 0), (140, 5), (None, 10)),
}
_TOP_INCLUDED = frozenset({("ENERC_KCAL_kcal", 50), ("CHOLE_mg", 5), ("NA_mg", 140)})

Composition = dict[str, dict[str, Decimal]]
"""Description -> column -> amount per 100 g; an unknown value is absent."""


@dataclass(frozen=True)
class Part:
    """One ingredient of one serving: its description, its mass in g, whose sugars it brings."""

    ingredient: str
    grams: Decimal
    sugars: str = ""


@dataclass(frozen=True)
class Recipe:
    """The recipe of one serving.

    Attributes
    ----------
    parts : tuple of Part
        Ingredients as made, before water is lost.
    water_out : Decimal
        g of water removed.
    added : dict
        Nutrient column -> amount added in manufacture, in the column's unit.
    """

    parts: tuple[Part, ...]
    water_out: Decimal = Decimal(0)
    added: dict[str, Decimal] = field(default_factory=dict)

    @property
    def serving_g(self) -> Decimal:
        """Mass of one serving as packed, g."""
        return sum((p.grams for p in self.parts), Decimal(0)) - self.water_out


def read_recipes(path: Path) -> dict[str, Recipe]:
    """Read a recipe file; see the module's text for its columns.

    Raises
    ------
    InputFaults
        Every unknown column, unreadable or missing number, and unknown handling, with its line.
    """
    faults: list[Fault] = []
    parts: dict[str, list[Part]] = {}
    water: dict[str, Decimal] = {}
    added: dict[str, dict[str, Decimal]] = {}
    with path.open(encoding="utf-8", newline="") as lines:
        reader = csv.DictReader(lines)
        if tuple(reader.fieldnames or ()) != RECIPE_COLUMNS:
            raise InputFaults([Fault(str(path), 1, f"columns must be {', '.join(RECIPE_COLUMNS)}")])
        for row in reader:
            item, name = row["item"], row["ingredient"]
            own = parts.setdefault(item, [])
            kind, _, column = name.partition(":")
            handling = kind in ("add", "remove") and bool(column)
            source = "amount" if handling else "grams"
            number = _number(row[source])
            if number is None:
                message = f'{item}, {name}: {source} needs a number of 0 or more, found "{row[source]}"'
            elif not handling and row["sugars"] not in ("", "added", "mixed"):
                message = f'{item}, {name}: sugars must be empty, added or mixed, found "{row["sugars"]}"'
            elif kind == "remove" and handling and column != "WATER":
                message = f'{item}: only WATER can be removed, found "{column}"'
            elif kind == "add" and handling and column not in FILLED:
                message = f'{item}: no nutrient column "{column}".{nearest(column, FILLED)}'
            else:
                if not handling:
                    own.append(Part(name, number, row["sugars"]))
                elif kind == "remove":
                    water[item] = water.get(item, Decimal(0)) + number
                else:
                    amounts = added.setdefault(item, {})
                    amounts[column] = amounts.get(column, Decimal(0)) + number
                continue
            faults.append(Fault(str(path), reader.line_num, message))
    if faults:
        raise InputFaults(faults)
    return {i: Recipe(tuple(p), water.get(i, Decimal(0)), added.get(i, {})) for i, p in parts.items()}


def _number(text: str | None) -> Decimal | None:
    try:
        value = Decimal(text or "")
    except InvalidOperation:
        return None
    return value if value.is_finite() and value >= 0 else None


def read_composition(path: Path) -> Composition:
    """Read a composition table in Parquet: ``description`` and ``TAGNAME[unit]`` columns, per 100 g.

    A double is read as its shortest decimal. ``FLD`` is the table's name for fluoride, ours is ``FD``.
    """
    import pandas as pd

    table = pd.read_parquet(path)
    columns = {str(c): str(c).replace("FLD[", "FD[").rstrip("]").replace("[", "_") for c in table.columns}
    known = {old: new for old, new in columns.items() if new in BY_COLUMN}
    found: Composition = {d: {} for d in table["description"]}
    for old, new in known.items():
        present = table[old].notna()
        for description, value in zip(table["description"][present], table[old][present], strict=True):
            found[description][new] = Decimal(repr(float(value)))
    return found


def sum_recipe(recipe: Recipe, composition: Mapping[str, Mapping[str, Decimal]]) -> dict[str, Decimal]:
    """Amounts in one serving, unrounded, by nutrient column; an unknown amount is absent.

    Raises
    ------
    KeyError
        If an ingredient is not in the composition table.
    """
    total = sum((p.grams for p in recipe.parts), Decimal(0))
    found: dict[str, Decimal] = {}
    for column in FILLED:
        amount, unknown = Decimal(0), Decimal(0)
        for part in recipe.parts:
            value = _per_100g(part, column, composition[part.ingredient])
            if value is None:
                unknown += part.grams
            else:
                amount += part.grams * value / 100
        if unknown <= MISSING_SHARE * total:
            found[column] = amount
    for column, amount in recipe.added.items():
        for target, factor in ((column, Decimal(1)), *CARRIES.get(column, ())):
            if target in found:
                found[target] += factor * amount
    if recipe.water_out and "WATER_g" in found:
        found["WATER_g"] -= recipe.water_out
    return found


def _per_100g(part: Part, column: str, row: Mapping[str, Decimal]) -> Decimal | None:
    if column == "SUGAD_g":
        if part.sugars == "mixed":
            return None
        return row.get("SUGAR_g") if part.sugars else Decimal(0)
    if column == "NIA_ADD_mg":
        # An enriched grain holds folic acid and niacin together (21 CFR 137, from memory), the table
        # does not say how much of its niacin was added.
        return Decimal(0) if row.get("FOLAC_ug") == 0 else None
    if column == "TOCPHA_ADD_mg":
        return Decimal(0)
    return row.get(column)


def round_as_label(column: str, value: Decimal) -> Decimal:
    """Round an amount per serving as a label would print it, halves up.

    Energy, macronutrients, cholesterol and sodium: FDA, A Food Labeling Guide, Appendix H, for 21 CFR
    101.9(c). "Less than 1 g" (and cholesterol of 2 to 5 mg) is no number: the value is then kept to
    the column's own decimals. Vitamins and minerals: increments of 0.1, 1 and 10 for a Daily Value
    under 25, under 250 and above, finer where the increment exceeds 2 % of the Daily Value (FDA
    guidance on the 2016 rule; partly from memory). Columns that no label has keep their own decimals.
    """
    increment: Decimal | int | None = None
    if column in _STEPS:
        for top, step in _STEPS[column]:
            if top is None or value < top or (value == top and (column, top) in _TOP_INCLUDED):
                increment = step
                break
    elif column.replace("_ADD_", "_") in DAILY_VALUES:
        daily = Decimal(DAILY_VALUES[column.replace("_ADD_", "_")])
        increment = Decimal("0.1") if daily < 25 else Decimal(1 if daily < 250 else 10)
        while increment > daily / 50:
            increment /= 10
    if increment == 0:
        return Decimal(0)
    if increment is None:
        increment = Decimal(1).scaleb(-BY_COLUMN[column].decimals)
    return (value / increment).to_integral_value(ROUND_HALF_UP) * increment


def nutrient_cells(amounts: Mapping[str, Decimal]) -> dict[str, str]:
    """Cells of one catalogue row: every filled column and its upper estimate; empty means unknown."""
    cells = {c: _text(round_as_label(c, amounts[c])) if c in amounts else "" for c in FILLED}
    for column, whole in UPPER_FROM.items():
        cells[f"{column}_upper"] = "" if cells[column] else cells[whole]
    return cells


def _text(value: Decimal) -> str:
    plain = format(value.normalize(), "f")
    return "0" if plain == "-0" else plain


def refill(
    items: Sequence[Mapping[str, str]], recipes: Mapping[str, Recipe], composition: Composition
) -> list[dict[str, str]]:
    """Catalogue rows with their nutrient columns filled anew from the recipes.

    Raises
    ------
    InputFaults
        Items without a recipe, recipes without an item, ingredients the table lacks, and servings
        whose mass is not the recipe's.
    """
    faults = []
    ids = {row["id"] for row in items}
    faults += [Fault("recipes", 0, f"{i}: no such item in the catalogue") for i in recipes if i not in ids]
    filled = []
    for row in items:
        recipe = recipes.get(row["id"])
        if recipe is None:
            faults.append(Fault("recipes", 0, f"{row['id']}: has no recipe"))
            continue
        lacking = [p.ingredient for p in recipe.parts if p.ingredient not in composition]
        for name in lacking:
            close = nearest(name, list(composition))
            faults.append(Fault("recipes", 0, f'{row["id"]}: the table has no "{name}".{close}'))
        if Decimal(row["serving_g"]) != recipe.serving_g:
            message = f"{row['id']}: serving_g is {row['serving_g']}, the recipe makes {recipe.serving_g} g"
            faults.append(Fault("recipes", 0, message))
        if not lacking:
            filled.append({**row, "value_origin": ORIGIN, **nutrient_cells(sum_recipe(recipe, composition))})
    if faults:
        raise InputFaults(faults)
    return filled


def main(arguments: Sequence[str]) -> None:
    """Fill the nutrient columns of ITEMS from RECIPES and COMPOSITION, write to OUT."""
    if len(arguments) != 4:
        raise SystemExit("usage: python -m optimenu.catalogue.recipes ITEMS RECIPES COMPOSITION OUT")
    items, recipes, composition, out = map(Path, arguments)
    with items.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    try:
        filled = refill(rows, read_recipes(recipes), read_composition(composition))
    except InputFaults as faults:
        raise SystemExit(f"{faults}\nNothing was written.") from faults
    with out.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, list(filled[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(filled)


if __name__ == "__main__":
    main(sys.argv[1:])
