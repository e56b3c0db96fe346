"""Who goes: people left at home vanish from every table, and from nothing else."""

from __future__ import annotations

from decimal import Decimal
from typing import get_args, get_type_hints

import pytest
from pydantic import BaseModel
from typer.testing import CliRunner

from optimenu.commands.app import app
from optimenu.config.case import load_case
from optimenu.config.main_settings import config_model
from optimenu.errors import InputFaults
from optimenu.planning import Options, plan
from optimenu.settings import Names
from tests.commands import small

EVERYWHERE = """
[parties.table]
members = ["juno", "mira", "tor"]
[parties.pair]
members = ["juno", "mira"]
[watches.day]
sleep = [["22:30", "06:30"]]
people = ["tor"]
[packs.shared.jars]
people = ["tor"]
items = ["rye_bread"]
[avoid.people.mira]
items = ["cocoa"]
[avoid.people.tor]
items = ["cocoa"]
[stowage.people.tor]
gross_kg = 9
[requests.stew]
items = ["bean_stew"]
people = ["tor"]
at_least = 1
[requests.curry]
items = ["lentil_curry"]
people = ["mira", "tor"]
at_most = 4
[nutrients.limits.PROCNT_g.day]
low = 10
[nutrients.limits.PROCNT_g.day.for.tor]
low = 12
[repeats.hot]
of = "item"
people = ["tor"]
most_a_day = 2
[condiments.free.fruit]
item = "pear_halves"
a_day = 1
people = ["tor"]
[hours.before_sleep.protein]
column = "PROCNT_g"
hours = 3
most = 40
people = ["tor"]
"""
SCRIPT = """\
[people.tor]
by = "physician of the invented crew"
date = 2031-01-15
[people.tor.allergies]
peanuts = "severe"
[people.tor.fasts.first]
dates = [2031-03-05]
from = "05:00"
to = "17:00"
"""


def project(tmp_path, *lines, config=small.CREW):
    path = small.write_crew(tmp_path / "project")
    main = "main = { least = 1, most = 1, weight = 1.0"
    text = config.replace(f"{main} }}\nbread", f'{main}, shared_by = ["table"] }}\nbread')
    path.write_text("\n".join(lines) + "\n" + text + EVERYWHERE)
    with (path.parent / "prescriptions.toml").open("a") as out:
        out.write(SCRIPT)
    return path


def test_everybody_goes_when_nothing_is_said(tmp_path):
    case = load_case(project(tmp_path))
    assert [p.id for p in case.problem.people] == ["juno", "mira", "tor"]
    assert '"tor"' in case.settings.model_dump_json()


def test_who_stays_is_in_no_table(tmp_path):
    case = load_case(project(tmp_path, 'aboard = ["mira", "juno"]'))
    problem, settings = case.problem, case.settings
    # in the order of [people], whatever the order in aboard
    assert [p.id for p in problem.people] == ["juno", "mira"]
    assert '"tor"' not in settings.model_copy(update={"aboard": None}).model_dump_json()
    assert {p.id: p.members for p in problem.parties} == {
        "juno": (0,), "mira": (1,), "table": (0, 1), "pair": (0, 1),
    }  # fmt: skip
    # a table that spoke of tor alone is gone, not everybody's
    assert settings.watches == {} and settings.packs.shared == {}
    assert set(settings.requests.model_extra) == {"curry"}
    assert settings.requests.model_extra["curry"].people == ("mira",)
    assert set(settings.repeats.model_extra) == {"same_dish"}
    assert settings.condiments.free == {} and settings.hours.before_sleep == {}
    assert set(settings.avoid.people) == {"mira"} and settings.stowage.people == {}
    # what is said of everybody stands
    assert settings.nutrients.limits["PROCNT_g"]["day"].low == 10
    # tor's fast makes no date of its own
    assert {d.block for d in problem.days} == {"cycle"}
    assert problem.days[0].meals[1].courses[0].shared_by == ("table",)


def test_a_party_of_one_is_none_and_the_dish_is_that_persons_own(tmp_path):
    case = load_case(project(tmp_path, 'aboard = ["mira"]'))
    assert [(p.id, p.members) for p in case.problem.parties] == [("mira", (0,))]
    assert all(c.shared_by == () for d in case.problem.days for m in d.meals for c in m.courses)
    planned = plan(case, Options(moves=20_000, threads=1))
    assert planned.report is not None and planned.report.holds
    assert {line.party for line in planned.menu.lines} == {"mira"}


def test_acceptance_is_the_same_whoever_goes(tmp_path):
    path = project(tmp_path)
    scores = path.parent / "tasting.csv"
    kept = [x for x in scores.read_text().splitlines() if not x.startswith("juno,egg_hash")]
    scores.write_text("\n".join(kept) + "\n")
    every = load_case(path).problem.acceptance
    alone = load_case(project(tmp_path, 'aboard = ["juno"]')).problem.acceptance
    scores.write_text("\n".join(kept) + "\n")
    alone = load_case(path).problem.acceptance
    # estimated from mira and tor, who stay
    assert every["juno", "egg_hash"].estimated
    assert alone["juno", "egg_hash"] == every["juno", "egg_hash"]


def test_who_goes_alone_is_planned_as_if_nobody_else_were_in_the_config(tmp_path):
    path = small.write_crew(tmp_path / "project")
    path.write_text('aboard = ["juno"]\n' + small.CREW)
    aboard = load_case(path)
    path.write_text(small.CREW.split("[people.mira]")[0])
    scores = path.parent / "tasting.csv"
    scores.write_text("\n".join(x for x in scores.read_text().splitlines() if x[:4] in ("juno", "pers")))
    alone = load_case(path)
    one, other = (plan(c, Options(moves=20_000, threads=1)) for c in (aboard, alone))
    assert one.program.digest == other.program.digest
    assert one.menu == other.menu
    assert one.report.value == other.report.value > Decimal("0.5")


@pytest.mark.parametrize(
    ("said", "line", "text"),
    [
        ('["juno", "mirra"]', 1, 'aboard: no person "mirra" in [people]. Did you mean "mira"?'),
        ('["juno", "mira", "juno"]', 1, "aboard: names juno 2 times"),
        ("[]", 1, "aboard: needs at least 1 entries, found an empty array"),
        ('"juno"', 1, 'aboard: needs an array, found "juno"'),
    ],
)
def test_faults(tmp_path, said, line, text):
    path = small.write_crew(tmp_path / "project")
    path.write_text(f"aboard = {said}\n{small.CREW}")
    with pytest.raises(InputFaults) as error:
        load_case(path)
    assert [(f.line, f.message) for f in error.value.faults] == [(line, text)]


def test_a_name_that_nobody_bears_is_still_a_fault(tmp_path):
    path = small.write_crew(tmp_path / "project")
    more = '[requests.stew]\nitems = ["bean_stew"]\npeople = ["tor", "vera"]\nat_least = 1\n'
    path.write_text(f'aboard = ["juno"]\n{small.CREW}{more}')
    with pytest.raises(InputFaults, match='no person "vera"'):
        load_case(path)


def test_check_says_who_stays(tmp_path):
    path = small.write_crew(tmp_path / "project")
    path.write_text(f'aboard = ["mira"]\n{small.CREW}')
    page = CliRunner().invoke(app, ["check", str(path)]).stdout
    assert "Not aboard: Juno, tor." in page
    assert "[J]" not in page


def test_every_setting_that_names_people_is_marked():
    """Names that look like people's are marked; a new rule cannot forget it unseen."""
    found = {}

    def walk(kind, seen):
        for each in [kind, *get_args(kind)]:
            if each is not kind:
                walk(each, seen)
            elif isinstance(each, type) and issubclass(each, BaseModel) and each not in seen:
                for name, field in each.model_fields.items():
                    if name in ("people", "members", "for_", "shared_by"):
                        found[each.__name__, name] = any(isinstance(m, Names) for m in field.metadata)
                    walk(field.annotation, seen | {each})
                extra = get_type_hints(each).get("__pydantic_extra__")
                if extra is not None:
                    walk(extra, seen | {each})

    walk(config_model(), frozenset())
    assert len(found) >= 12
    assert [name for name, marked in found.items() if not marked] == []
