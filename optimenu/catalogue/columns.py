"""Every column a catalogue may have, declared once.

Reading, checking, the printed column list and the documentation come from here. A file needs the
columns marked ``required``; any other may be absent, which means *unknown*, never zero.
"""

from __future__ import annotations

from dataclasses import dataclass

from optimenu.catalogue.lists import words
from optimenu.nutrition.nutrients import NUTRIENTS

FORMS = (
    "freeze-dried",
    "retorted",
    "natural form",
    "intermediate moisture",
    "powder",
    "canned",
    "frozen",
    "chilled",
    "baked",
    "dried",
)
"""Preservation forms, in the trade's words."""

ALLERGEN_STATES = ("contains", "may_contain", "free", "unknown")

ALLERGENS = words("allergens")
"""Allergens a catalogue may state; ``data/allergens.csv`` names the law and date of each."""

DIETS = words("diets")
"""Diet flags: ``yes`` the item suits the diet, ``no`` it does not, ``unknown``; ``data/diets.csv``
says where each comes from."""

VITAMINS_LOST = ("VITC", "THIA", "RIBF", "VITB6A", "VITA_RAE", "FOLDFE")
"""Vitamins for which a catalogue may state a first-order loss per month in storage."""


@dataclass(frozen=True)
class Column:
    """One catalogue column.

    Attributes
    ----------
    kind : str
        ``text``, ``word`` (one of ``words``), ``list`` (words separated by ``;``), ``number``,
        ``whole``, ``id`` (lower-case letters, digits and underscores).
    least, most : float or None
        Range a number must lie in.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    required: bool = False
    words: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None


_YES_NO = ("yes", "no", "unknown")

ITEM_COLUMNS: tuple[Column, ...] = (
    Column("id", "id", "Short name used in configs and tables", required=True),
    Column("name", "text", "Name as printed on the pack and the menu", required=True),
    Column("courses", "list", "Courses it can fill", required=True),
    Column("meals", "list", "Meals it suits", required=True),
    Column("form", "word", "Preservation form", words=FORMS, required=True),
    Column(
        "serving_g", "number", "One serving as packed, without added water", "g", True, least=0.1, most=2000
    ),
    Column("servings_per_pack", "whole", "Servings in one pack", "", True, least=1, most=500),
    Column(
        "open_hours",
        "number",
        "Hours an opened pack may be kept; empty: eaten at once",
        "h",
        least=0,
        most=10000,
    ),
    Column("pack_kind", "text", "Pouch, can, sachet, bar wrap, jar, bottle, tub ..."),
    Column("overwrap_packs", "whole", "Packs held by one overwrap; empty: no overwrap", least=1, most=500),
    Column("overwrap_g", "number", "Mass of the empty overwrap", "g", least=0, most=5000),
    Column("overwrap_ml", "number", "Volume the overwrap adds to its packs", "mL", least=0, most=50000),
    Column("net_g", "number", "Net mass of one pack", "g", True, least=0.1, most=20000),
    Column("gross_g", "number", "Gross mass of one pack", "g", True, least=0.1, most=25000),
    Column("volume_ml", "number", "Stowed volume of one pack", "mL", True, least=0.1, most=50000),
    Column("tare_g", "number", "Mass of the empty pack", "g", least=0, most=5000),
    Column("water_ml", "number", "Water added to one serving", "mL", True, least=0, most=1000),
    Column(
        "water_kind", "word", "Temperature of that water", words=("hot", "chilled", "none"), required=True
    ),
    Column("heat_min", "number", "Minutes in a heater place; 0: none", "min", least=0, most=240),
    Column(
        "prep_min", "number", "Minutes of preparation by hand, standing included", "min", least=0, most=240
    ),
    Column("unheated", "word", "Can it be eaten without heat", words=("good", "safe only", "no", "unknown")),
    Column(
        "cold_min", "number", "Minutes to rehydrate in cold water; empty: cannot", "min", least=0, most=240
    ),
    Column("store_at_c", "number", "Storage temperature, at most", "deg C", least=-80, most=60),
    Column("may_freeze", "word", "Does it survive freezing", words=_YES_NO),
    Column("use_by_months", "number", "Safety: months from production", "months", least=0.1, most=240),
    Column("best_before_months", "number", "Quality: months from production", "months", least=0.1, most=240),
    Column("cost", "number", "Cost of one pack, in the catalogue's currency", least=0, most=100000),
    Column("supply", "word", "Made for the purpose, or bought and repacked", words=("made", "bought")),
    Column("main_ingredient", "text", "Main ingredient, one word"),
    Column("cuisine", "text", "Cuisine"),
    Column("texture", "text", "Texture"),
    Column("served", "word", "Temperature served", words=("hot", "ambient", "chilled")),
    Column("flavour", "text", "Dominant flavour"),
    Column("tags", "list", "Free words that rules may name, such as spread, bread, spicy, caffeine"),
    Column("value_origin", "text", "Where the nutrient values come from"),
)

ORDER_COLUMNS: tuple[Column, ...] = (
    Column("order_unit_packs", "whole", "Packs in one order unit", "packs", least=1, most=1_000_000),
    Column("smallest_batch_packs", "whole", "Fewest packs made at once", "packs", least=1, most=1_000_000),
    Column("lead_days", "whole", "Days from the order to its delivery", "days", least=0, most=3650),
)
"""How an item is ordered; whole catalogues may be silent about it, and the order sheet then says so."""

ALLERGEN_COLUMNS: tuple[Column, ...] = tuple(
    Column(f"allergen_{a}", "word", f"State of {a.replace('_', ' ')}", words=ALLERGEN_STATES)
    for a in ALLERGENS
)
DIET_COLUMNS: tuple[Column, ...] = tuple(
    Column(f"diet_{d}", "word", f"Suits {d.replace('_', ' ')}", words=_YES_NO) for d in DIETS
)
LOSS_COLUMNS: tuple[Column, ...] = tuple(
    Column(
        f"loss_{v}_per_month",
        "number",
        f"First-order loss of {v} in storage at 21 deg C",
        "1/month",
        least=0,
        most=5,
    )
    for v in VITAMINS_LOST
)
NUTRIENT_COLUMNS: tuple[Column, ...] = tuple(
    Column(n.column, "number", n.name, f"{n.unit} per serving", least=0, most=100000) for n in NUTRIENTS
)
UPPER_COLUMNS: tuple[Column, ...] = tuple(
    Column(
        f"{n.column}_upper",
        "number",
        f"{n.name}: upper estimate where the value is unknown",
        f"{n.unit} per serving",
        least=0,
        most=100000,
    )
    for n in NUTRIENTS
)

ALL_COLUMNS: dict[str, Column] = {
    c.name: c
    for c in (
        *ITEM_COLUMNS,
        *ORDER_COLUMNS,
        *ALLERGEN_COLUMNS,
        *DIET_COLUMNS,
        *LOSS_COLUMNS,
        *NUTRIENT_COLUMNS,
        *UPPER_COLUMNS,
    )
}
REQUIRED: tuple[str, ...] = tuple(c.name for c in ALL_COLUMNS.values() if c.required)
