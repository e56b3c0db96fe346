"""Requests: at least, at most, exactly, and personal extras."""

from __future__ import annotations

from optimenu.rules.requests import Requests
from tests.rules.hand import broken, faults, item, person, problem, rule, said, tally
from tests.rules.tiny import measured

CAKE, BUN, STEW = item("cake", "side", tags=frozenset({"sweet"})), item("bun", "side"), item("stew")


def near(problem, tally, rng):
    parts = []
    for k in range(4):
        tag = rng.choice(("spread", "bread", "heavy"))
        more = f"tags = ['{tag}']\nitems = ['i{k}']\npeople = ['ana']\n"
        if rng.random() < 0.5:
            more += f"meal = '{rng.choice(('early', 'late'))}'\n"
        if rng.random() < 0.5:
            more += "days = [1, 3]\n"
        ask = measured(Requests, f"[requests.r]\n{more}at_most = 0", problem, tally)[0]
        n = int(ask.most)
        line = rng.choice(("at_least", "at_most", "both", "exactly" if k == 0 else "both"))
        text = {
            "at_least": f"at_least = {max(n - rng.randint(0, 1), 0)}",
            "at_most": f"at_most = {n + rng.randint(0, 1)}",
            "both": f"at_least = {max(n - 1, 0)}\nat_most = {n + 1}",
            "exactly": f"exactly = {n}",
        }[line]
        parts.append(f"[requests.r{k}]\n{more}{text}")
    return "\n".join(parts) + "\n[requests.x]\nitems = ['i3']\nextra_a_day = 1", problem


def test_by_hand():
    question = problem((CAKE, BUN, STEW), days=2, dates=6, reserve=1)
    toml = """
    [requests.sweets]
    tags = ["sweet"]
    items = ["bun"]
    at_least = 2
    at_most = 3
    """
    sweets = rule(Requests, toml, question)
    # servings on plan days count, not dates; the reserve and what is free in the day do not
    menu = tally(question, "ana 1 lunch side cake 1\nana r1 lunch side cake 2\nana 2 cake 2?")
    assert broken(sweets, menu) == [("requests.sweets.at_least", "ana", -1, "1", "servings")]
    assert said(sweets, menu) == ["ana: request sweets: 1 serving; at least 2 servings"]
    menu = tally(question, "ana 1 lunch side cake 2\nana 2 lunch side bun 2")
    assert broken(sweets, menu) == [("requests.sweets.at_most", "ana", -1, "1", "servings")]
    assert broken(sweets, tally(question, "ana 1 lunch side cake 2\nana 2 lunch side bun 1")) == []


def test_exactly_on_given_days_at_a_meal_for_a_person():
    question = problem((CAKE, STEW), people=(person("ana"), person("bo")), days=2)
    toml = "[requests.x]\nitems = ['stew']\nexactly = 1\ndays = [2]\nmeal = 'lunch'\npeople = ['bo']"
    once = rule(Requests, toml, question)
    menu = tally(question, "bo 1 lunch main stew 1\nbo 2 dinner main stew 1\nana 2 lunch main stew 1")
    assert broken(once, menu) == [("requests.x.exactly", "bo", -1, "1", "servings")]
    assert broken(once, tally(question, "bo 2 lunch main stew 1")) == []


def test_an_extra_is_free_every_day():
    question = problem((CAKE,), people=(person("ana"), person("bo")))
    extra = rule(Requests, "[requests.x]\nitems = ['cake']\nextra_a_day = 2\npeople = ['bo']", question)
    (free,) = extra.allowances()
    assert (free.party, free.item, free.most, free.key) == (1, "cake", 2, "requests.x.extra_a_day")
    assert list(extra.measures(tally(question, ""))) == []


def test_faults():
    toml = """
    [requests.a]
    items = ["cak"]
    people = ["ann"]
    days = [3]
    meal = "supper"
    at_least = 2
    at_most = 1
    [requests.b]
    items = ["cake"]
    [requests.c]
    items = ["cake"]
    exactly = 1
    at_most = 1
    [requests.d]
    items = ["cake", "bun"]
    extra_a_day = 1
    """
    assert faults(rule(Requests, toml, problem((CAKE, BUN)))) == [
        ("a.items", 'no item "cak" in the catalogue. Did you mean "cake"?'),
        ("a.people", 'no person "ann". Did you mean "ana"?'),
        ("a.days", "day 3 is not in the cycle of 2 days"),
        ("a.meal", 'no meal "supper"'),
        ("a.at_least", "at_least 2 is over at_most 1"),
        ("b", "set at_least, at_most, exactly or extra_a_day"),
        ("c.exactly", "exactly stands alone; drop at_least and at_most"),
        ("d.extra_a_day", "an extra names exactly one item in items"),
    ]
