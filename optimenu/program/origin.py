"""Where a row of the program comes from."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, order=True)
class Origin:
    """The promise a row keeps, named so that a person can find and change it.

    Attributes
    ----------
    rule : str
        Table of the config that the rule owns.
    key : str
        Dotted key inside the config, for example ``nutrients.NA_mg.day.high``.
    person : str
        Id of the person; empty when the promise is the crew's.
    day : int
        Number of the plan day; -1 when the promise is not of one day.
    meal : str
        Meal, or empty.
    what : str
        Item, tag, course or nutrient meant, or empty.
    run : tuple of int
        Plan days of the run of dates meant, or empty.
    who : str
        Who may loosen it: nobody, physician, dietitian, planner.
    """

    rule: str
    key: str
    person: str = ""
    day: int = -1
    meal: str = ""
    what: str = ""
    run: tuple[int, ...] = ()
    who: str = field(default="dietitian", compare=False)
