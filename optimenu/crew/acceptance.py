"""From tasting scores to acceptance.

A few bites predict what is eaten worse than a full serving does: correlation with intake 0.45
(taste and spit), 0.62 (taste and swallow), 0.75 (full serving), Zandstra et al. 1999. So a full
serving weighs more; 3 to 1 is common practice, no source.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from optimenu.crew.tasting import Score

HUNDREDTH = Decimal("0.01")


@dataclass(frozen=True)
class Acceptance:
    """How much a person likes an item, nine-point scale, two decimals; estimated or from own scores."""

    value: Decimal
    estimated: bool


def _rounded(value: Decimal) -> Decimal:
    return value.quantize(HUNDREDTH, ROUND_HALF_EVEN)


def acceptances(
    scores: Iterable[Score],
    people: Sequence[str],
    items: Sequence[str],
    *,
    sample: Decimal = Decimal(1),
    serving: Decimal = Decimal(3),
) -> Mapping[tuple[str, str], Acceptance]:
    """Return acceptance by (person, item); pairs that cannot even be estimated are left out.

    Parameters
    ----------
    sample, serving : Decimal
        Weight of a score of a few bites and of a full serving.

    Notes
    -----
    An unscored pair is estimated as the person's mean plus the mean deviation of the item over at
    least two other people from their own means, held within 1 to 9.
    """
    weights = {"sample": sample, "serving": serving}
    sums: dict[tuple[str, str], list[Decimal]] = defaultdict(lambda: [Decimal(0), Decimal(0)])
    for s in scores:
        cell = sums[s.person, s.item]
        cell[0] += weights[s.kind] * s.score
        cell[1] += weights[s.kind]
    own = {pair: total / weight for pair, (total, weight) in sums.items() if weight > 0}
    by_person: dict[str, list[Decimal]] = defaultdict(list)
    by_item: dict[str, list[tuple[str, Decimal]]] = defaultdict(list)
    for (person, item), value in sorted(own.items()):
        by_person[person].append(value)
        by_item[item].append((person, value))
    mean = {p: sum(v, Decimal(0)) / len(v) for p, v in by_person.items()}
    found = {pair: Acceptance(_rounded(value), estimated=False) for pair, value in own.items()}
    for person in people:
        if person not in mean:
            continue
        for item in items:
            if (person, item) in found:
                continue
            others = [value - mean[p] for p, value in by_item.get(item, []) if p != person]
            if len(others) < 2:
                continue
            guess = mean[person] + sum(others, Decimal(0)) / len(others)
            found[person, item] = Acceptance(
                _rounded(min(max(guess, Decimal(1)), Decimal(9))), estimated=True
            )
    return found
