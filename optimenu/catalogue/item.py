"""An item of the catalogue, and the catalogue as a whole.

Item, serving, pack: one item comes in packs; a pack holds ``servings_per_pack`` servings. What is
eaten counts servings; stock, mass and volume count packs. An optional value that is not stated is
None, which means *unknown*, never zero.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

from optimenu.errors import nearest


@dataclass(frozen=True, slots=True)
class Item:
    """One item; fields are the columns of the same name in ``optimenu.catalogue.columns``.

    Attributes
    ----------
    allergens : mapping of str to str
        Every allergen of ``ALLERGENS`` to its state; ``unknown`` where the file is silent.
    diets : mapping of str to str
        Every diet of ``DIETS`` to ``yes``, ``no`` or ``unknown``; ``unknown`` where the file is silent.
    losses : mapping of str to Decimal
        Vitamin tagname to its stated first-order loss per month in storage; only those stated.
    amounts : mapping of str to Decimal or None
        Nutrient column (``FE_mg``) to amount per serving in the column's unit, for every nutrient
        column of the file; None where the cell is empty (unknown).
    upper : mapping of str to Decimal
        Nutrient column (``FE_mg``) to the declared upper estimate per serving; only those stated.
    line : int
        Line of the file (row, for Parquet), from 1.
    """

    id: str
    name: str
    courses: tuple[str, ...]
    meals: tuple[str, ...]
    form: str
    serving_g: Decimal
    servings_per_pack: int
    net_g: Decimal
    gross_g: Decimal
    volume_ml: Decimal
    water_ml: Decimal
    water_kind: str
    open_hours: Decimal | None = None
    pack_kind: str | None = None
    overwrap_packs: int | None = None
    overwrap_g: Decimal | None = None
    overwrap_ml: Decimal | None = None
    tare_g: Decimal | None = None
    heat_min: Decimal | None = None
    prep_min: Decimal | None = None
    unheated: str = "unknown"
    cold_min: Decimal | None = None
    store_at_c: Decimal | None = None
    may_freeze: str = "unknown"
    use_by_months: Decimal | None = None
    best_before_months: Decimal | None = None
    cost: Decimal | None = None
    supply: str | None = None
    main_ingredient: str | None = None
    cuisine: str | None = None
    texture: str | None = None
    served: str | None = None
    flavour: str | None = None
    tags: frozenset[str] = frozenset()
    value_origin: str | None = None
    order_unit_packs: int | None = None
    smallest_batch_packs: int | None = None
    lead_days: int | None = None
    # Plain dicts, not read-only proxies: items travel to worker processes and proxies cannot be pickled.
    allergens: Mapping[str, str] = field(default_factory=dict, hash=False)
    diets: Mapping[str, str] = field(default_factory=dict, hash=False)
    losses: Mapping[str, Decimal] = field(default_factory=dict, hash=False)
    amounts: Mapping[str, Decimal | None] = field(default_factory=dict, hash=False)
    upper: Mapping[str, Decimal] = field(default_factory=dict, hash=False)
    line: int = 0

    def allergen(self, name: str) -> str:
        """Return the state of an allergen; ``unknown`` when nothing is stated."""
        return self.allergens.get(name, "unknown")

    def amount(self, column: str) -> Decimal | None:
        """Nutrient in one serving, in the column's unit; None when unknown.

        Water is counted as fluid: water in the item and water added to it (1 mL taken as 1 g).
        """
        known = self.amounts.get(column)
        if column == "WATER_g" and known is not None:
            return known + self.water_ml
        return known

    def suits(self, diet: str) -> str:
        """Return ``yes``, ``no`` or ``unknown`` for a diet."""
        return self.diets.get(diet, "unknown")


@dataclass(frozen=True)
class Catalogue:
    """What there is to eat, in the order of the file.

    Attributes
    ----------
    items : tuple of Item
    columns : frozenset of str
        Nutrient columns the file has; a nutrient outside it is "not assessed", never "met".
    file : str
        The file as the user would write it.
    present : frozenset of str
        Every column the file has, nutrient or not.
    left_out : frozenset of str
        Ids of the file's items that the plan does not draw on.
    """

    items: tuple[Item, ...]
    columns: frozenset[str]
    file: str
    present: frozenset[str] = frozenset()
    left_out: frozenset[str] = frozenset()

    @cached_property
    def by_id(self) -> Mapping[str, Item]:
        """Item by its id."""
        return {item.id: item for item in self.items}

    def absent(self, kind: str, name: str, known: Sequence[str]) -> str:
        """Return the fault of naming what no item bears: an item, a tag, a trait.

        Parameters
        ----------
        known : sequence of str
            What could have been named.
        """
        if kind == "item" and name in self.left_out:
            return f'item "{name}" is left out by [catalogue]; take it out here, or bring it back there'
        return f'no {kind} "{name}" in the catalogue.{nearest(name, known)}'

    @cached_property
    def order(self) -> Mapping[str, int]:
        """Place of an item in the file, from 0, by id."""
        return {item.id: place for place, item in enumerate(self.items)}
