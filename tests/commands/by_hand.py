"""The station's hard limits computed a second time with pandas, from the CSV files alone.

Nothing here imports a rule, the program or the audit. It answers one question: which promises does a
menu table break, as a set of (config key, person, day or days or "", meal, what).
"""

from __future__ import annotations

import math
import tomllib
from collections import defaultdict
from datetime import timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from optimenu.nutrition.intakes import reference_intakes

ENERGY = "ENERC_KCAL_kcal"
Broken = set[tuple[str, str, str]]


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
                mean = self._stay(self._sum(rows, column)) / len(self.dates) + tablet.get((person, column), 0)
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
