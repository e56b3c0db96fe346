"""The station's hard limits computed a second time with pandas, from the CSV files alone.

Nothing here imports a rule, the program or the audit. It answers one question: which promises does a
menu table break, as a set of (config key, person, day or days or "", meal, what).
"""

from __future__ import annotations

import math
import tomllib
from collections import defaultdict
from datetime import date, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

import pandas as pd

from optimenu.nutrition.intakes import reference_intakes

ENERGY = "ENERC_KCAL_kcal"
Broken = set[tuple[str, str, str]]


# nutrient columns and the names their losses bear; vitamin A is retinol and carotene
LOST = {
    "RETOL_ug": "RETOL", "CARTB_ug": "CARTB", "CARTA_ug": "CARTB", "VITC_mg": "VITC", "THIA_mg": "THIA",
    "RIBF_mg": "RIBF", "VITB6A_mg": "VITB6A", "FOLDFE_ug": "FOLDFE", "FOL_ug": "FOLDFE", "FOLAC_ug": "FOLDFE",
    "FOLFD_ug": "FOLDFE", "TOCPHA_mg": "TOCPHA", "TOCPHA_ADD_mg": "TOCPHA", "VITK1_ug": "VITK1",
}  # fmt: skip
STRICT = {"RETOL", "CARTB", "VITC", "THIA", "RIBF", "VITB6A", "FOLDFE"}


class Kept:
    """What storage leaves of a nutrient, from the tables of losses and lots alone."""

    def __init__(self, inputs: Path, station: Station) -> None:
        self.station = station
        self.table = station.config["storage"]
        own = pd.read_csv(inputs / "configs/station/losses.csv")
        form = pd.read_csv(resources.files("optimenu.nutrition") / "data/storage_losses.csv")
        self.own = {(r.item, r.nutrient): r for r in own.itertuples()}
        self.form = {(r.form, r.nutrient): r for r in form.itertuples()}
        lots = station.lots[station.lots.state == "released"].join(station.items.use_by_months, on="item")
        self.lots: dict[str, list[tuple[date, date]]] = defaultdict(list)
        for lot in lots.itertuples():
            made = pd.Timestamp(lot.production_date)
            self.lots[lot.item].append(
                (made.date(), (made + pd.DateOffset(months=int(lot.use_by_months))).date())
            )
        self.known: dict[tuple[str, str, date], tuple[float, float]] = {}

    def _rate(self, item: str, tag: str) -> tuple[float | None, float]:
        """Fastest and slowest loss a month; None where nobody states one."""
        row = self.station.items.loc[item]
        where = min(
            self.table["temperature_c"], row.store_at_c if row.store_at_c == row.store_at_c else math.inf
        )
        catalogue = row.get(f"loss_{tag}_per_month", math.nan)
        if (item, tag) in self.own:
            found = self.own[item, tag]
        elif not math.isnan(catalogue):
            return catalogue, catalogue
        elif (row.form, tag) in self.form:
            found = self.form[row.form, tag]
        else:
            return (None, 0.0) if tag in STRICT else (0.0, 0.0)
        least = getattr(found, "least_per_month", math.nan)
        fast, slow = found.per_month, found.per_month if math.isnan(least) else least
        energy = found.activation_kj_per_mol
        if not math.isnan(energy):
            times = math.exp(
                -energy * 1000 / 8.314462618 * (1 / (where + 273.15) - 1 / (found.temperature_c + 273.15))
            )
            return fast * times, slow * times
        return (None if where > found.temperature_c else fast), (0.0 if where < found.temperature_c else slow)

    def on(self, item: str, column: str, when: date) -> tuple[float, float]:
        """Least and most that is left on a date."""
        if column not in LOST and column != "VITA_RAE_ug":
            return 1.0, 1.0
        if (item, column, when) not in self.known:
            made = [m for m, until in self.lots[item] if until >= when] or [m for m, _ in self.lots[item]]
            old, young = (when - min(made)).days, (when - max(made)).days
            if column != "VITA_RAE_ug":
                self.known[item, column, when] = self._left(item, LOST[column], old, young)
            else:
                row = self.station.items.loc[item]
                ends = [self._left(item, tag, old, young) for tag in ("RETOL", "CARTB")]
                part = min(1.0, row.RETOL_ug / row.VITA_RAE_ug) if row.VITA_RAE_ug else 1.0
                low, high = (part * ends[0][k] + (1 - part) * ends[1][k] for k in (0, 1))
                if math.isnan(row.RETOL_ug):
                    low, high = min(ends[0][0], ends[1][0]), max(ends[0][1], ends[1][1])
                self.known[item, column, when] = _down(low), -_down(-high)
        return self.known[item, column, when]

    def _left(self, item: str, tag: str, old: int, young: int) -> tuple[float, float]:
        fast, slow = self._rate(item, tag)
        high = -_down(-math.exp(-slow * young / 30.4375))
        if fast is None:
            return (1.0 if old <= 30 else 0.0), high
        return _down(math.exp(-fast * old / 30.4375)), high

    def _alike(self, day: int) -> list[list[date]]:
        """Dates of every day that is as good as this one: of its kind, served as often."""
        s = self.station
        like = [d for d in s.weight if (d in s.rest, s.weight[d]) == (day in s.rest, s.weight[day])]
        return [[w for w, n in zip(s.dates, s.sequence, strict=True) if n == d] for d in like]

    def over_the_stay(self, item: str, column: str, day: int) -> float:
        """Parts left summed over the dates of a day, those of whichever day alike keep least."""
        return min(sum(self.on(item, column, w)[0] for w in dates) for dates in self._alike(day))

    def at_most(self, item: str, column: str, day: int) -> float:
        """Most that is left on a date of a day, or of one alike."""
        return max(self.on(item, column, w)[1] for dates in self._alike(day) for w in dates)


def _down(part: float) -> float:
    return math.floor(part * 10_000 + 1e-9) / 10_000


class Station:
    """Tables of the station and the sums the limits speak of."""

    def __init__(self, inputs: Path, kcal: dict[tuple[str, str], int]) -> None:
        self.config: dict[str, Any] = tomllib.loads((inputs / "configs/station.toml").read_text())
        self.items = pd.read_csv(
            inputs / "catalogs/items.csv", keep_default_na=False, na_values=[""]
        ).set_index("id")
        self.kcal = kcal
        self.scores = pd.read_csv(inputs / "configs/station/tasting.csv")
        self.lots = pd.read_csv(inputs / "configs/station/stock.csv")
        stay = self.config["stay"]
        days = (stay["last_date"] - stay["first_date"]).days + 1
        self.dates = [stay["first_date"] + timedelta(days=k) for k in range(days)]
        self.sequence = [k % stay["cycle_days"] + 1 for k in range(days)]
        self.weight = {d: self.sequence.count(d) for d in range(1, stay["cycle_days"] + 1)}
        self.rest = set(stay["kinds"]["rest"])
        self.kept = Kept(inputs, self)

    def broken(self, menu: pd.DataFrame) -> Broken:
        """Every hard promise of the kinds below that the menu breaks."""
        m = menu.fillna({"meal": ""}).join(self.items, on="item")
        cycle = m[m.block == "cycle"]
        found: Broken = set()
        for person, rows in cycle.groupby("party"):
            found |= self._courses(str(person), rows)
            found |= self._energy(str(person), rows)
            found |= self._reference(str(person), rows)
            found |= self._proportions(str(person), rows)
            found |= self._repeats(str(person), rows)
            found |= self._estimated(str(person), rows)
        return found | self._stowage(m) | self._stock(m)

    def _courses(self, person: str, rows: pd.DataFrame) -> Broken:
        found: Broken = set()
        counts = rows.groupby(["day", "meal", "course"])["count"].sum()
        for meal, table in self.config["meals"].items():
            for course, limit in table["courses"].items():
                for day in self.weight:
                    n = counts.get((day, meal, course), 0)
                    if not limit["least"] <= n <= limit["most"]:
                        found.add((f"meals.{meal}.courses.{course}", person, f"day {day}"))
        return found

    def _sum(self, rows: pd.DataFrame, column: str) -> pd.Series:
        """Amount by cycle day; unknown counts as nothing."""
        each = rows[column].fillna(0)
        if column == "WATER_g":
            each = each + rows.water_ml
        total: pd.Series = (each * rows["count"]).groupby(rows.day).sum()
        return total.reindex(sorted(self.weight), fill_value=0.0)

    def _eaten(self, rows: pd.DataFrame, column: str) -> float:
        """Amount over the stay as a floor counts it, after losses in storage."""
        total = 0.0
        for row in rows[["item", "day", "count", column]].itertuples(index=False):
            if not math.isnan(row[3]):
                total += row[2] * row[3] * self.kept.over_the_stay(row[0], column, row[1])
        return total

    def _stay(self, daily: pd.Series) -> float:
        return float(sum(daily[d] * w for d, w in self.weight.items()))

    def _energy(self, person: str, rows: pd.DataFrame) -> Broken:
        found: Broken = set()
        daily = self._sum(rows, ENERGY)
        need = {
            d: self.kcal.get((person, "rest" if d in self.rest else ""), self.kcal[person, ""])
            for d in self.weight
        }
        limits = self.config["nutrients"]["energy"]
        for d in self.weight:
            if abs(daily[d] - need[d]) > need[d] * limits["day_within"] / 100 + 1e-9:
                found.add(("nutrients.energy.day_within", person, f"day {d}"))
        wanted = sum(need[d] * w for d, w in self.weight.items())
        if abs(self._stay(daily) - wanted) > wanted * limits["stay_within"] / 100 + 1e-9:
            found.add(("nutrients.energy.stay_within", person, ""))
        for meal, table in self.config["meals"].items():
            share = table.get("energy_share", {})
            part = self._sum(rows[rows.meal == meal], ENERGY)
            for d in self.weight:
                for side, sign in (("low", 1), ("high", -1)):
                    if side in share and sign * (part[d] - share[side] / 100 * daily[d]) < -1e-9:
                        found.add((f"meals.{meal}.energy_share.{side}", person, f"day {d}"))
        return found

    def _runs(self, length: int) -> set[tuple[int, ...]]:
        return {tuple(sorted(self.sequence[k : k + length])) for k in range(len(self.sequence) - length + 1)}

    def _reference(self, person: str, rows: pd.DataFrame) -> Broken:
        """RDA floors on the stay, UL ceilings and prescribed sodium on seven dates, caffeine, alcohol."""
        found: Broken = set()
        who = self.config["people"][person]
        tablet = {("ines", "VITD_ug"): 10.0}
        left_out = self.config["nutrients"]["reference"]["leave_out"]
        ceilings: list[tuple[str, str, float]] = []
        for intake in reference_intakes(who["sex"], who["age"]):
            column = intake.column if intake.column in rows.columns else intake.floor_stand_in
            amount = float(intake.amount or 0)
            if intake.per_kg_body_mass is not None:
                amount = float(intake.per_kg_body_mass) * who["mass_kg"]
            if intake.kind == "RDA" and column in rows.columns and column not in left_out:
                stay = self._stay(self._sum(rows, column))
                if column in LOST or column == "VITA_RAE_ug":
                    stay = self._eaten(rows, column)
                mean = stay / len(self.dates) + tablet.get((person, column), 0)
                if mean < amount - 1e-9:
                    found.add(("nutrients.reference.RDA", person, column))
            top = intake.upper_column
            if intake.upper is not None and top in rows.columns and top not in (*left_out, "NA_mg"):
                ceilings.append((f"nutrients.reference.{intake.upper_kind}", top, float(intake.upper)))
        if person == "tomas":
            ceilings.append(("prescriptions.people.tomas.limits.NA_mg.seven_days.high", "NA_mg", 2300.0))
        for key, column, most in ceilings:
            upper = f"{column}_upper"
            filled = rows.copy()
            if column in LOST or column == "VITA_RAE_ug":
                pairs = zip(rows.item, rows.day, strict=True)
                filled[column] = rows[column] * [self.kept.at_most(i, column, d) for i, d in pairs]
            if upper in rows.columns:
                filled[column] = filled[column].fillna(filled[upper])
            daily = self._sum(filled, column)
            for run in self._runs(7):
                if sum(daily[d] for d in run) / 7 + tablet.get((person, column), 0) > most + 1e-9:
                    found.add((key, person, ", ".join(f"day {d}" for d in run)))
        for column in ("CAFFN_mg", "ALC_g"):
            daily = self._sum(rows, column)
            most = self.config["nutrients"]["limits"][column]["day"]["high"]
            for d in self.weight:
                if daily[d] > most + 1e-9:
                    found.add((f"nutrients.limits.{column}.day.high", person, f"day {d}"))
        return found

    def _proportions(self, person: str, rows: pd.DataFrame) -> Broken:
        found: Broken = set()
        fibre = self._stay(self._sum(rows, "FIBTG_g"))
        energy = self._stay(self._sum(rows, ENERGY))
        low = self.config["nutrients"]["per_1000_kcal"]["FIBTG_g"]["low"]
        if fibre < low * energy / 1000 - 1e-9:
            found.add(("nutrients.per_1000_kcal.FIBTG_g.low", person, ""))
        ratio = self.config["nutrients"]["ratios"]["calcium_to_phosphorus"]["low"]
        calcium, phosphorus = (self._stay(self._sum(rows, c)) for c in ("CA_mg", "P_mg"))
        if calcium < ratio * phosphorus - 1e-9:
            found.add(("nutrients.ratios.calcium_to_phosphorus.low", person, ""))
        return found

    def _repeats(self, person: str, rows: pd.DataFrame) -> Broken:
        found: Broken = set()
        for name, table in self.config["repeats"].items():
            here = rows[rows.certain == "yes"]
            if "courses" in table:
                here = here[here.course.isin(table["courses"])]
            here = here[~here.course.isin(table.get("exempt_courses", ()))]
            tags = here.tags.fillna("").str.split(";")
            here = here[~tags.map(lambda t, table=table: bool({*t} & {*table.get("exempt_tags", ())}))]
            days: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
            for row in here.rename(columns={"count": "count_"}).itertuples():
                values = {"item": [row.item], "main_ingredient": [row.main_ingredient]}.get(
                    table["of"], str(row.tags).split(";")
                )
                for value in values:
                    if not table.get("only") or value in table["only"]:
                        days[value][row.day] += row.count_
            for value, on in days.items():
                for d, n in on.items():
                    if n > table.get("most_a_day", math.inf):
                        found.add((f"repeats.{name}.most_a_day", person, f"day {d} {value}"))
                if sum(on.values()) > table.get("most_a_cycle", math.inf):
                    found.add((f"repeats.{name}.most_a_cycle", person, value))
                if "gap_days" in table:
                    for run in self._runs(table["gap_days"]):
                        if sum(on.get(d, 0) for d in run) > 1:
                            where = ", ".join(f"day {d}" for d in run)
                            found.add((f"repeats.{name}.gap_days", person, f"{where} {value}"))
        return found

    def _stowage(self, m: pd.DataFrame) -> Broken:
        """Whole packs and overwraps by person, item and block."""
        found: Broken = set()
        dates = m.day.map(self.weight).where(m.block == "cycle", 1)
        eaten = (m["count"] * dates).groupby([m.party, m.item, m.block]).sum()
        totals = {"gross_kg": 0.0, "volume_l": 0.0}
        for (_, item, _), n in eaten.items():
            row = self.items.loc[item]
            packs = math.ceil(n / row.servings_per_pack)
            totals["gross_kg"] += packs * row.gross_g
            totals["volume_l"] += packs * row.volume_ml
            if not math.isnan(row.overwrap_packs):
                wraps = math.ceil(packs / row.overwrap_packs)
                totals["gross_kg"] += wraps * row.overwrap_g
                totals["volume_l"] += wraps * row.overwrap_ml
        for field, total in totals.items():
            if total > self.config["stowage"][field] * 1000 + 1e-6:
                found.add((f"stowage.{field}", "", ""))
        return found

    def _estimated(self, person: str, rows: pd.DataFrame) -> Broken:
        """Share of servings, condiments left out, that the person has never tasted."""
        tasted = set(self.scores[self.scores.person == person].item)
        here = rows[(rows.certain == "yes") & (rows.course != "condiment")]
        dates = here["count"] * here.day.map(self.weight)
        guessed = dates[~here.item.isin(tasted)].sum()
        share = self.config["avoid"]["estimated_share"]
        return (
            {("avoid.estimated_share", person, "")} if guessed > share / 100 * dates.sum() + 1e-9 else set()
        )

    def _stock(self, m: pd.DataFrame) -> Broken:
        """Packs against released lots, over all dates and after each use-by date in the stay."""
        found: Broken = set()
        lots = self.lots[self.lots.state == "released"].join(self.items.use_by_months, on="item")
        for item, rows in m.groupby("item"):
            own = lots[lots.item == item]
            ends = [
                (pd.Timestamp(made) + pd.DateOffset(months=int(months))).date()
                for made, months in zip(own.production_date, own.use_by_months, strict=True)
            ]
            size = self.items.loc[item].servings_per_pack
            for after in [None, *sorted({e for e in ends if e < self.dates[-1]})]:
                packs = 0
                for _, eaten in rows.groupby(["party", "block"]):
                    servings = 0
                    for row in eaten.rename(columns={"count": "count_"}).itertuples():
                        dates = 1
                        if row.block == "cycle":
                            dates = sum(
                                after is None or when > after
                                for when, day in zip(self.dates, self.sequence, strict=True)
                                if day == row.day
                            )
                        servings += row.count_ * dates
                    packs += math.ceil(servings / size)
                usable = sum(n for n, e in zip(own.packs, ends, strict=True) if after is None or e > after)
                if packs > usable:
                    found.add(("stock.first", "", ""))
        return found
