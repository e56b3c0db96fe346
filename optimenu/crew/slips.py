"""What in a prescription cannot be: alone, and against the catalogue."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimenu.catalogue.columns import ALLERGENS
from optimenu.crew.prescriptions import WINDOWS
from optimenu.errors import nearest
from optimenu.nutrition.nutrients import BY_COLUMN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimenu.catalogue.item import Catalogue
    from optimenu.crew.prescriptions import PrescriptionTable

Key = str | int


def impossible(table: PrescriptionTable) -> Iterator[tuple[tuple[Key, ...], str]]:
    """Keys inside the prescription, and what cannot be, whatever the catalogue holds."""
    yield from _limit_slips(table)
    for name, supplement in table.supplements.items():
        for column in supplement.amounts:
            if column not in BY_COLUMN:
                text = f'no nutrient column "{column}".{nearest(column, sorted(BY_COLUMN))}'
                yield ("supplements", name, "amounts", column), text
    for allergen in table.intolerances:
        if allergen not in ALLERGENS:
            yield ("intolerances", allergen), f'no allergen "{allergen}".{nearest(allergen, ALLERGENS)}'
        elif allergen in table.allergies:
            text = f"{allergen} is under allergies already, which exclude it; keep one of the two"
            yield ("intolerances", allergen), text
    for texture in sorted({*table.only_textures} & {*table.never_textures}):
        yield ("never_textures",), f'"{texture}" is in only_textures too; keep one of the two'
    for name, fast in table.fasts.items():
        if (fast.from_ is None) != (fast.to is None):
            yield ("fasts", name), "from and to go together; set both or neither"
        elif fast.from_ is not None and fast.from_ == fast.to:
            yield ("fasts", name, "to"), "a fast of a whole day leaves no meal; ask the physician"
        elif fast.from_ is not None and fast.to is not None and fast.from_ > fast.to:
            text = "runs over midnight; lay down the evening and the next date's morning as two fasts"
            yield ("fasts", name, "to"), text
        elif fast.from_ is None and not (fast.diets or fast.never_items or fast.never_tags):
            yield ("fasts", name), "set from and to, or diets, never_items or never_tags"
    yield from _clock_slips(table)


def _limit_slips(table: PrescriptionTable) -> Iterator[tuple[tuple[Key, ...], str]]:
    for column, limits in table.limits.items():
        if not limits.bands() and limits.step is None:
            yield ("limits", column), f"says nothing; set one of {', '.join(WINDOWS)} or step"
        for window, band in limits.bands().items():
            if band.low is None and band.high is None:
                yield ("limits", column, window), "set low or high"
            if band.low is not None and band.high is not None and band.low > band.high:
                yield ("limits", column, window, "low"), f"low {band.low} is over high {band.high}"


def _clock_slips(table: PrescriptionTable) -> Iterator[tuple[tuple[Key, ...], str]]:
    for name, medicine in table.medicines.items():
        if not medicine.at:
            yield ("medicines", name, "at"), 'a medicine needs the times of its doses, such as ["07:00"]'
        if not medicine.apart:
            text = "says nothing: name in apart what is kept away from it"
            yield ("medicines", name), text
        for k, foods in enumerate(medicine.apart):
            keys: tuple[Key, ...] = ("medicines", name, "apart", k)
            yield from ((_inside(keys, key), text) for key, text in foods.slips())
            if not foods.hours_before and not foods.hours_after:
                yield keys, "set hours_before or hours_after"
    for name, pair in table.apart.items():
        for side in ("these", "those"):
            for key, text in getattr(pair, side).slips():
                yield _inside(("apart", name, side), key), text


def absent(table: PrescriptionTable, catalogue: Catalogue) -> Iterator[tuple[tuple[Key, ...], str]]:
    """Keys inside the prescription that name what the catalogue lacks: it could not be kept, so refused."""
    textures = sorted({i.texture for i in catalogue.items if i.texture})
    tags = sorted({t for i in catalogue.items for t in i.tags})
    for key, known in (
        ("never_items", sorted(catalogue.by_id)),
        ("never_tags", tags),
        ("only_textures", textures),
        ("never_textures", textures),
    ):
        for name in getattr(table, key):
            if name not in known:
                word = key.split("_")[1].removesuffix("s")
                yield (key,), catalogue.absent(word, name, known)
    for name, fast in table.fasts.items():
        for key, known in (("never_items", sorted(catalogue.by_id)), ("never_tags", tags)):
            for what in getattr(fast, key):
                if what not in known:
                    word = key.removeprefix("never_").removesuffix("s")
                    yield ("fasts", name, key), catalogue.absent(word, what, known)
    for column in table.limits:
        if column not in catalogue.columns:
            text = f"the catalogue has no nutrient column {column}, so the limit cannot be kept."
            yield ("limits", column), text + nearest(column, sorted(catalogue.columns))
    for name, medicine in table.medicines.items():
        for k, foods in enumerate(medicine.apart):
            for key, text in foods.absent(catalogue):
                yield ("medicines", name, "apart", k, key), text
    for name, pair in table.apart.items():
        for side in ("these", "those"):
            for key, text in getattr(pair, side).absent(catalogue):
                yield ("apart", name, side, key), text


def _inside(keys: tuple[Key, ...], key: str) -> tuple[Key, ...]:
    return (*keys, key) if key else keys
