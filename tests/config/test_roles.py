"""Who may change what in the files a config extends."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from optimenu.config.case import load_case
from optimenu.config.changes import same
from optimenu.config.main_settings import config_model
from optimenu.config.roles import refused
from optimenu.config.toml_layers import read_layers
from optimenu.crew.prescriptions import PrescriptionFile
from optimenu.errors import InputFaults
from tests.commands.small import write_project

BASE = """\
name = "Base"
[catalogue]
file = "items.csv"
[tasting]
file = "tasting.csv"
sample_weight = 1
[prescriptions]
file = "prescriptions.toml"
[stay]
first_date = 2031-03-01
[people.juno]
name = "Juno"
age = 34
energy = { kcal = 1500 }
[meals.dinner]
at = "18:30"
courses = { main = { least = 1 } }
[nutrients.limits.CAFFN_mg.day]
high = 400
who = "physician"
[nutrients.limits.CAFFN_mg.day.on.rest]
high = 300
[nutrients.limits.ALC_g.day]
high = 2
[nutrients.limits.ALC_g.day.for.juno]
high = 1
who = "nobody"
[nutrients.shares.FAT_g]
high = 40
kcal_per_g = 9
[repeats.same_dish]
of = "item"
most_a_day = 1
exempt_courses = ["drink"]
[stowage]
volume_l = 500
[water]
crew_l = 850
who = "nobody"
"""


def told(folder: Path, child: str, role: str = "", base: str = BASE) -> list[str]:
    """Return what is refused of a file that extends the base, its own three lines of head not counted."""
    (folder / ".optimenu-root").touch()
    (folder / "base.toml").write_text(base)
    head = 'extends = "base.toml"\n' + (f'role = "{role}"' if role else "") + "\n\n"
    (folder / "child.toml").write_text(head + child)
    found = refused(config_model(), read_layers(folder / "child.toml").changes)
    return [str(f).split("child.toml")[1] for f in found]


def only(who: str, by: str = "planner", verb: str = "change") -> str:
    return (
        f"only the {who} may {verb} this; this file is written by the {by}. "
        f'Ask the {who}, or state role = "{who}" if that is who you are'
    )


CHANGES = [
    # what is changed, keys, and who may
    ('name = "Other"', "planner"),
    ('catalogue.file = "more.csv"', "dietitian"),
    ('tasting.file = "more.csv"', "planner"),
    # a day kind carries energy and limits with it
    ("stay.kinds.rest = [1, 2]", "dietitian"),
    ('stay.ordinary_kind = "rest"', "dietitian"),
    ("tasting.sample_weight = 2", "dietitian"),
    ("goal.repeat_share = 0.5", "planner"),
    ("search.seed = 2", "planner"),
    ("stay.last_date = 2031-03-09", "planner"),
    ("stay.common_meals = 1", "planner"),
    ("dates.feast.on = [2031-03-02]", "dietitian"),
    ('parties.two.members = ["juno", "bo"]', "dietitian"),
    ('watches.day.people = ["juno"]', "dietitian"),
    ('packs.shared.jam.people = ["juno"]', "dietitian"),
    ('stock.file = "stock.csv"', "planner"),
    ('stock.unlisted = "order"', "planner"),
    ('prescriptions.file = "none.toml"', "physician"),
    ('people.juno.name = "J"', "planner"),
    ('people.juno.mark = "J"', "planner"),
    ("people.juno.age = 35", "dietitian"),
    ("people.juno.floor = 4", "dietitian"),
    ("people.juno.energy.kcal = 1800", "dietitian"),
    ("people.juno.energy_on.rest.kcal = 1400", "dietitian"),
    ('meals.dinner.at = "19:00"', "dietitian"),
    ("meals.dinner.courses.main.least = 0", "dietitian"),
    ("avoid.estimated_share = 20", "dietitian"),
    ("avoid.people.juno.items = []", "dietitian"),
    # a default of the program is changed by adding the setting
    ("nutrients.energy.day_within = 20", "dietitian"),
    ("nutrients.limits.CAFFN_mg.day.high = 500", "physician"),
    # tightening is a change too
    ("nutrients.limits.CAFFN_mg.day.high = 300", "physician"),
    ("nutrients.limits.CAFFN_mg.day.price = 0.1", "physician"),
    # the nearest who is that of the table around
    ("nutrients.limits.CAFFN_mg.day.on.rest.high = 500", "physician"),
    ("nutrients.limits.CAFFN_mg.day.for.juno.high = 500", "physician"),
    ("nutrients.limits.ALC_g.day.high = 3", "dietitian"),
    ("nutrients.limits.ALC_g.day.on.rest.high = 3", "dietitian"),
    ("nutrients.limits.FE_mg.day.low = 3", "dietitian"),
    ("repeats.same_dish.exempt_courses = ['drink', 'main']", "dietitian"),
    ("stowage.volume_l = 600", "planner"),
    ("stowage.people.juno.gross_kg = 60", "planner"),
    ("reserve.days = 1", "planner"),
    ("requests.pie = { items = ['fish_pie'], at_least = 1 }", "planner"),
    # published intakes: a floor is the dietitian's, a ceiling the physician's
    ("nutrients.reference.use = false", "physician"),
    ("nutrients.reference.ai_price = 0", "dietitian"),
    ("nutrients.reference.soft_ceilings.NA_mg = 0", "physician"),
    ("nutrients.reference.leave_out = ['NA_mg']", "physician"),
    ("nutrients.reference.leave_out = ['FIBTG_g']", "dietitian"),
    ("nutrients.limits.NA_mg.seven_days.high = 9000", "physician"),
    ("nutrients.limits.NA_mg.seven_days.for.juno.high = 9000", "physician"),
    ("nutrients.limits.FE_mg.stay.low = 1", "dietitian"),
    # a who is changed by who it names
    ("repeats.same_dish.who = 'planner'", "dietitian"),
    ("stowage.who = 'dietitian'", "planner"),
]


@pytest.mark.parametrize(("line", "who"), CHANGES)
@pytest.mark.parametrize("role", ["planner", "dietitian", "physician"])
def test_a_role_changes_what_is_its_own_and_below(tmp_path: Path, line: str, who: str, role: str) -> None:
    ranks = ["planner", "dietitian", "physician"]
    found = told(tmp_path, line + "\n", role)
    if ranks.index(role) >= ranks.index(who):
        assert found == []
    else:
        assert len(found) == 1 and f"only the {who} may " in found[0]
        assert f"written by the {role}. " in found[0]


def test_the_message_names_file_line_place_and_remedy(tmp_path: Path) -> None:
    child = "[nutrients.energy]\nday_within = 12\n[repeats.same_dish]\n\nmost_a_day = 2\ngap_days = 2\n"
    assert told(tmp_path, child) == [
        # what the program itself has set is changed too
        f":5  [nutrients.energy] day_within: {only('dietitian')}",
        f":8  [repeats.same_dish] most_a_day: {only('dietitian')}",
        f":9  [repeats.same_dish] gap_days: {only('dietitian', verb='set')}",
    ]


def test_what_nobody_may_change_is_to_be_taken_out(tmp_path: Path) -> None:
    child = "[nutrients.limits.ALC_g.day.for.juno]\nhigh = 0\n[water]\nwho = 'planner'\ncrew_l = 900\n"
    end = "nobody may change this; this file is written by the physician. Take it out"
    assert told(tmp_path, child, "physician") == [
        f":5  [nutrients.limits.ALC_g.day.for.juno] high: {end}",
        f":7  [water] who: {end}",
        f":8  [water] crew_l: {end}",
    ]


def test_a_new_table_is_told_of_once_by_its_highest_rank(tmp_path: Path) -> None:
    child = '\n[people.kim]\nname = "Kim"\nage = 40\nenergy = { kcal = 2000 }\n'
    child += "[repeats.same_tag]\nof = 'tag'\nmost_a_day = 1\n"
    assert told(tmp_path, child) == [
        f":5  [people.kim] {only('dietitian', verb='set')}",
        f":9  [repeats.same_tag] {only('dietitian', verb='set')}",
    ]
    assert told(tmp_path, child, "dietitian") == []


def test_a_who_that_the_file_itself_sets_does_not_count(tmp_path: Path) -> None:
    child = (
        "[repeats.same_dish]\nwho = 'planner'\nmost_a_day = 3\n[repeats.more]\nof = 'tag'\nwho = 'planner'\n"
    )
    assert [f.split(": ")[0] for f in told(tmp_path, child)] == [
        ":5  [repeats.same_dish] who",
        ":6  [repeats.same_dish] most_a_day",
        f":7  [repeats.more] {only('dietitian', verb='set')}",
    ]


def test_the_same_value_again_is_no_change(tmp_path: Path) -> None:
    child = "[people.juno]\nage = 34.0\nenergy = { kcal = 1500 }\n"
    child += "[repeats.same_dish]\nexempt_courses = ['drink']\n"
    assert told(tmp_path, child) == []
    assert not same(1, True) and not same([1], [True]) and same({"a": [1]}, {"a": [1]})
    assert not same({"a": 1}, {"b": 1})


SOFT = "[nutrients.shares.PROCNT_g]\nlow = 10\nkcal_per_g = 4\nprice = 0.1\n"


@pytest.mark.parametrize(
    ("child", "free"),
    [
        (SOFT, True),
        (SOFT.replace("price = 0.1\n", ""), False),
        # there is such a limit already: a soft one would loosen it
        (SOFT.replace("PROCNT_g", "FAT_g"), False),
        (SOFT + "[nutrients.shares.PROCNT_g.on.rest]\nlow = 5\n", False),
        (SOFT + "[nutrients.shares.PROCNT_g.on.rest]\nlow = 5\nprice = 0.1\n", True),
        ("[nutrients.limits.NA_mg.day]\nhigh = 2000\nprice = 0.1\n", True),
        ("[nutrients.limits.ALC_g.day.on.rest]\nhigh = 9\nprice = 0.1\n", False),
        # these take the place of a published ceiling and floor
        ("[nutrients.limits.NA_mg.seven_days]\nhigh = 9000\nprice = 0.1\n", False),
        ("[nutrients.limits.FE_mg.stay]\nlow = 1\nprice = 0.1\n", False),
        ("[meals.dinner]\nenergy_share = { low = 20, price = 0.1 }\n", True),
        ("[meals.dinner]\nenergy_share = { low = 20 }\n", False),
    ],
)
def test_a_new_soft_limit_is_anybodys(tmp_path: Path, child: str, free: bool) -> None:
    assert (told(tmp_path, child) == []) is free


def test_without_published_intakes_nothing_published_is_replaced(tmp_path: Path) -> None:
    child = "[nutrients.limits.NA_mg.seven_days]\nhigh = 9000\n"
    for line in ("use = false", 'leave_out = ["NA_mg"]'):
        base = BASE + f"[nutrients.reference]\n{line}\n"
        assert told(tmp_path, child, "dietitian", base) == []
    # a limit of the base has taken its place already
    base = BASE + "[nutrients.limits.NA_mg.seven_days]\nhigh = 3000\n"
    assert told(tmp_path, child, "dietitian", base) == []
    # its floor has not taken the place of the ceiling
    base = BASE + "[nutrients.limits.NA_mg.seven_days]\nlow = 30\n"
    (found,) = told(tmp_path, child, "dietitian", base)
    assert "only the physician may set this" in found


def test_keys_that_do_not_exist_are_left_to_the_other_checks(tmp_path: Path) -> None:
    assert told(tmp_path, "[repeats.same_dish]\ngap_dys = 3\n[nonsense]\na = 1\n[stowage]\nx = {}\n") == []


@pytest.mark.parametrize(
    "child",
    [
        "nutrients = 3",
        "[nutrients]\nreference = 3",
        "[nutrients.limits.NA_mg.seven_days]\nhigh = 1",
        "[nutrients.reference]\nleave_out = 4",
        "people = 1",
    ],
)
def test_values_of_a_wrong_kind_are_changes_like_others(tmp_path: Path, child: str) -> None:
    base = BASE + "[nutrients.reference]\nleave_out = 3\nuse = true\n"
    assert told(tmp_path, child + "\n", "planner", base)


@pytest.fixture
def layers(tmp_path: Path):
    def write(**texts: str):
        (tmp_path / ".optimenu-root").touch()
        for name, text in texts.items():
            (tmp_path / f"{name}.toml").write_text(text)
        return read_layers(tmp_path / f"{next(iter(texts))}.toml")

    return write


def refusals(found) -> list[str]:
    return [
        f"{Path(f.file).name}:{f.line} {f.message.split(';')[0]}"
        for f in refused(config_model(), found.changes)
    ]


LIMIT = "[repeats.same_dish]\nmost_a_day = {}\n"


def test_every_file_of_a_chain_answers_for_its_own_changes(layers) -> None:
    found = layers(
        top='extends = "middle.toml"\n[stowage]\nvolume_l = 3\n',
        middle='role = "dietitian"\nextends = "base.toml"\n' + LIMIT.format(2),
        base=LIMIT.format(1) + "[stowage]\nvolume_l = 5\n",
    )
    assert refusals(found) == []
    assert [(c.keys, c.old, c.new, c.line, c.role) for c in found.changes] == [
        (("repeats", "same_dish", "most_a_day"), 1, 2, 4, "dietitian"),
        (("stowage", "volume_l"), 5, 3, 3, "planner"),
    ]
    # the role of a file below is not the role of the file on top, nor the other way about
    found = layers(
        top='role = "dietitian"\nextends = "middle.toml"\n',
        middle='extends = "base.toml"\n' + LIMIT.format(2),
        base='role = "dietitian"\n' + LIMIT.format(1),
    )
    assert refusals(found) == [
        "middle.toml:3 [repeats.same_dish] most_a_day: only the dietitian may change this"
    ]
    assert found.values["role"] == "dietitian"


def test_the_base_sets_limits_freely(layers) -> None:
    found = layers(base='role = "planner"\n' + LIMIT.format(9))
    assert found.changes == () and found.values["role"] == "planner"


def test_a_second_base_answers_for_what_it_changes_in_the_first(layers) -> None:
    texts = {"top": 'extends = ["one.toml", "two.toml"]\n', "one": LIMIT.format(1), "two": LIMIT.format(2)}
    assert refusals(layers(**texts)) == [
        "two.toml:2 [repeats.same_dish] most_a_day: only the dietitian may change this"
    ]
    assert refusals(layers(**texts | {"two": 'role = "dietitian"\n' + LIMIT.format(2)})) == []


def test_what_a_second_base_brings_back_is_the_extending_files_change(layers) -> None:
    texts = {
        "top": 'extends = [\n"one.toml",\n"two.toml",\n]\n',
        "one": 'extends = "base.toml"\nrole = "dietitian"\n' + LIMIT.format(1),
        "two": 'extends = "base.toml"\n',
        "base": LIMIT.format(3),
    }
    # one.toml went from 3 to 1; two.toml, laid over it, holds the base's 3 again
    assert refusals(layers(**texts)) == [
        "top.toml:3 [repeats.same_dish] most_a_day: only the dietitian may change this"
    ]
    texts["top"] += 'role = "dietitian"\n'
    assert refusals(layers(**texts)) == []


@pytest.mark.parametrize(
    ("role", "end"),
    [
        ('"nobody"', 'found "nobody"'),
        ('"dietician"', 'found "dietician". Did you mean "dietitian"?'),
        ("3", "found 3"),
    ],
)
def test_a_role_that_is_none(layers, role: str, end: str) -> None:
    with pytest.raises(InputFaults) as caught:
        layers(top='extends = "base.toml"\n', base=f"\nrole = {role}\n")
    (fault,) = caught.value.faults
    assert (fault.line, fault.message) == (2, f"role: needs one of physician, dietitian, planner, {end}")


PRESCRIBED = '[people.bo]\nby = "p"\ndate = 2031-01-15\n[people.bo.allergies]\nmilk = "avoid"\n'


def test_prescriptions_are_the_physicians(layers) -> None:
    child = 'extends = "base.toml"\n{}\n[people.bo.allergies]\nmilk = "severe"\n' + PRESCRIBED.replace(
        "bo", "cy"
    )
    for role in ("", 'role = "dietitian"'):
        found = refused(PrescriptionFile, layers(top=child.format(role), base=PRESCRIBED).changes)
        words = only("physician", "dietitian" if role else "planner")
        assert [f"{f.line}  {f.message}" for f in found] == [
            f"4  [people.bo.allergies] milk: {words}",
            f"5  [people.cy] {words.replace('change', 'set')}",
        ]
    assert (
        refused(PrescriptionFile, layers(top=child.format('role = "physician"'), base=PRESCRIBED).changes)
        == []
    )


def test_a_plan_is_refused_with_its_other_faults(tmp_path: Path) -> None:
    write_project(tmp_path)
    (tmp_path / "scripts.toml").write_text(
        'extends = "prescriptions.toml"\nrole = "dietitian"\n[people.juno.allergies]\npeanuts = "avoid"\n'
    )
    child = tmp_path / "child.toml"
    child.write_text(
        'extends = "plan.toml"\nprescriptions.file = "scripts.toml"\n[stowage]\ngross_kg = -9\n'
        "[nutrients.energy]\nday_within = 30\n"
    )
    with pytest.raises(InputFaults) as caught:
        load_case(child)
    assert [f"{Path(f.file).name}:{f.line}" for f in caught.value.faults] == [
        "child.toml:2",
        "child.toml:4",
        "child.toml:6",
        "scripts.toml:4",
    ]


def test_a_case_keeps_who_changed_what(tmp_path: Path) -> None:
    write_project(tmp_path)
    (tmp_path / "scripts.toml").write_text(
        'extends = "prescriptions.toml"\nrole = "physician"\n[people.juno.allergies]\npeanuts = "avoid"\n'
    )
    child = tmp_path / "child.toml"
    child.write_text('extends = "plan.toml"\nrole = "physician"\nprescriptions.file = "scripts.toml"\n')
    case = load_case(child)
    assert case.settings.role == "physician"
    assert [(".".join(c.keys), c.old, c.new) for c in case.changes] == [
        ("prescriptions.file", "prescriptions.toml", "scripts.toml"),
        ("prescriptions.people.juno.allergies.peanuts", "severe", "avoid"),
    ]


def test_the_shipped_station_is_a_base() -> None:
    root = Path(__file__).parents[2] / "configs"
    assert "extends" not in tomllib.loads((root / "station.toml").read_text())
