"""The nutrients a catalogue may carry.

Tagnames are those of INFOODS (FAO/INFOODS tagname list). A column is named ``TAGNAME_unit``;
the last underscore splits. ``decimals`` is the precision to which a value per serving is kept.
``SUGAD``, ``NIAEQ`` and the ``*_ADD`` columns (the part added in manufacture) have no INFOODS
tagname of their own in common use; the ``_ADD`` ending is ours.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Nutrient:
    """A nutrient column: INFOODS tagname, unit, name a dietitian reads, decimals kept per serving."""

    tag: str
    unit: str
    name: str
    decimals: int

    @property
    def column(self) -> str:
        """Name of the catalogue column, for example ``FE_mg``."""
        return f"{self.tag}_{self.unit}"

    @property
    def inside(self) -> str:
        """Name inside a sentence: vitamin D and EPA keep their capitals."""
        return self.name if self.name.split()[0].isupper() else self.name[:1].lower() + self.name[1:]


_ROWS = """
ENERC_KCAL kcal 0 Energy
PROCNT g 1 Protein
FAT g 1 Fat
CHOCDF g 1 Carbohydrate
FIBTG g 1 Dietary fibre
SUGAR g 1 Sugars, total
SUGAD g 1 Sugars, added
STARCH g 1 Starch
WATER g 1 Water in the item as packed
ASH g 1 Ash
ALC g 1 Alcohol
CAFFN mg 0 Caffeine
CA mg 0 Calcium
FE mg 2 Iron
MG mg 0 Magnesium
P mg 0 Phosphorus
K mg 0 Potassium
NA mg 0 Sodium
ZN mg 2 Zinc
CU mg 3 Copper
FD ug 0 Fluoride
MN mg 3 Manganese
SE ug 1 Selenium
ID ug 1 Iodine
VITA_RAE ug 0 Vitamin A (RAE)
RETOL ug 0 Retinol, preformed vitamin A
CARTB ug 0 Beta-carotene
CARTA ug 0 Alpha-carotene
VITD ug 1 Vitamin D
TOCPHA mg 2 Vitamin E (alpha-tocopherol)
TOCPHA_ADD mg 2 Vitamin E, added
VITK1 ug 1 Vitamin K (phylloquinone)
VITC mg 1 Vitamin C
THIA mg 3 Thiamin
RIBF mg 3 Riboflavin
NIA mg 3 Niacin, preformed
NIA_ADD mg 3 Niacin, added
NIAEQ mg 3 Niacin equivalents
PANTAC mg 3 Pantothenic acid
VITB6A mg 3 Vitamin B6
FOL ug 0 Folate, total
FOLAC ug 0 Folic acid
FOLFD ug 0 Folate, food
FOLDFE ug 0 Folate (DFE)
VITB12 ug 2 Vitamin B12
CHOLN mg 1 Choline
FASAT g 2 Saturated fat
FAMS g 2 Monounsaturated fat
FAPU g 2 Polyunsaturated fat
FATRN g 2 Trans fat
F18D2 g 2 Linoleic acid (18:2)
F18D3 g 2 Linolenic acid (18:3)
F20D5 g 3 EPA (20:5 n-3)
F22D6 g 3 DHA (22:6 n-3)
CHOLE mg 0 Cholesterol
"""


def _read() -> tuple[Nutrient, ...]:
    found = []
    for line in _ROWS.strip().splitlines():
        tag, unit, decimals, name = line.split(maxsplit=3)
        found.append(Nutrient(tag, unit, name, int(decimals)))
    return tuple(found)


NUTRIENTS: tuple[Nutrient, ...] = _read()
BY_COLUMN: dict[str, Nutrient] = {n.column: n for n in NUTRIENTS}
