"""Energy that food gives."""

from __future__ import annotations

from decimal import Decimal

from optimenu.nutrition.requirement import whole_kcal
from optimenu.nutrition.tables import equations


def atwater(
    protein_g: Decimal, fat_g: Decimal, carbohydrate_g: Decimal, alcohol_g: Decimal, fibre_g: Decimal
) -> Decimal:
    """Energy of food by the Atwater general factors, whole kcal.

    Parameters
    ----------
    protein_g, fat_g, alcohol_g : Decimal
        Grams.
    carbohydrate_g : Decimal
        Grams of total carbohydrate by difference, fibre counted in (``CHOCDF_g``).
    fibre_g : Decimal
        Grams of dietary fibre, part of `carbohydrate_g`.

    Returns
    -------
    Decimal
        4 protein + 9 fat + 4 (carbohydrate - fibre) + 2 fibre + 7 alcohol, rounded once, halves up.
        Tables and labels may use factors specific to a food and differ by 10 to 25 %.

    Raises
    ------
    ValueError
        For an amount that is not 0 or more, or more fibre than carbohydrate.

    Notes
    -----
    Source: FAO Food and Nutrition Paper 77, 2003.
    """
    amounts = {
        "protein": protein_g,
        "fat": fat_g,
        "carbohydrate": carbohydrate_g,
        "alcohol": alcohol_g,
        "fibre": fibre_g,
    }
    for name, grams in amounts.items():
        if not grams.is_finite() or grams < 0:
            raise ValueError(f"{name}: needs 0 g or more, found {grams}.")
    if fibre_g > carbohydrate_g:
        raise ValueError(
            f"Fibre of {fibre_g:f} g is more than total carbohydrate of {carbohydrate_g:f} g, "
            "which counts fibre in; check both figures."
        )
    factor = equations()["food_energy"]
    return whole_kcal(
        factor["protein"] * protein_g
        + factor["fat"] * fat_g
        + factor["available_carbohydrate"] * (carbohydrate_g - fibre_g)
        + factor["fibre"] * fibre_g
        + factor["alcohol"] * alcohol_g
    )
