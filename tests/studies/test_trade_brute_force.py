"""Curves of a project whose menus can all be tried: points, bounds and ends against every menu there is."""

from __future__ import annotations

from decimal import Decimal

import pytest

from optimenu.config.case import load_case
from optimenu.solve.halt import Halt
from optimenu.studies.axes import AXES
from optimenu.studies.held import liked_at
from optimenu.studies.points import Points, Ways
from optimenu.studies.result import result
from optimenu.studies.store import Question, Store, read_trade
from optimenu.studies.trade import trade
from tests.studies.few import every, write_few

D = Decimal
SLACK = D("0.000001")
"""Amounts of liking are told to so many decimals."""


def traded(tmp_path, names, *, points=8, floor="0", moves=20_000):
    """Return the result of a trade and every menu there is."""
    config = write_few(tmp_path / "project")
    question = Question("few", "plan.toml", {}, tuple(names), moves, 1, floor)
    store = Store(tmp_path / "trade", question)
    ways = Ways(points, moves, 1, 2, D(floor))
    caps = {n: AXES[n] for n in names if AXES[n].limited}
    told: list[str] = []
    trade(
        names,
        Points(load_case(config), caps, ways, store, Halt(), lambda *_: None, lambda *a: told.append(a[2])),
    )
    assert told
    found = result(read_trade(tmp_path / "trade"))
    return found, every(config, tuple(store.facts["best"]))


def finder(config, names, ways, store):
    caps = {n: AXES[n] for n in names if AXES[n].limited}
    return Points(load_case(config), caps, ways, store, Halt(), lambda *_: None, lambda *_: None)


def amount(menu, axis):
    return D(getattr(menu, axis.name))


@pytest.mark.parametrize("name", ["volume", "mass", "cost", "variety"])
def test_against_liking(tmp_path, name):
    axis = AXES[name]
    found, menus = traded(tmp_path, (name, "liking"))
    assert 2 <= len(found.points) <= 8
    best = {}
    for p in found.points:
        # what the audit measured is what the same menu has among all of them
        mine = (p.at(axis), p.at(AXES["liking"]))
        assert any(amount(m, axis) == mine[0] and abs(m.liking - mine[1]) < SLACK for m in menus)
        limit = p.limits.get(name)
        within = [m for m in menus if limit is None or not axis.beats(limit, amount(m, axis))]
        best[p.run] = max(m.liking for m in within)
        assert mine[1] - SLACK < best[p.run] <= p.bound
        # so small a project is searched to the end: the very best within each limit
        assert best[p.run] - mine[1] < SLACK
    # no menu at all beats a point in both
    for p in found.points:
        assert not any(
            axis.beats(amount(m, axis), p.at(axis)) and m.liking >= p.at(AXES["liking"]) + SLACK
            for m in menus
        )
    # the ends: as little as any menu has, and the best of all
    amounts = [amount(m, axis) for m in menus]
    least = min(amounts) if axis.less else max(amounts)
    tight = min if axis.less else max
    assert tight(p.at(axis) for p in found.points) == least
    assert max(p.at(AXES["liking"]) for p in found.points) >= max(m.liking for m in menus) - SLACK
    proved = D(found.facts[f"proved {name} free"])
    assert not axis.beats(least, proved)


@pytest.mark.parametrize("names", [("mass", "variety"), ("volume", "cost")])
def test_while_liking_is_held(tmp_path, names):
    first, other = (AXES[n] for n in names)
    found, menus = traded(tmp_path, names, floor="0.9", points=6)
    assert found.held is not None
    best = max(m.liking for m in menus)
    assert abs(found.held - best * D("0.9")) < 2 * SLACK
    liked = [m for m in menus if m.liking >= found.held]
    assert found.points
    proved = 0
    for p in found.points:
        assert p.at(AXES["liking"]) >= found.held
        limit = p.limits.get(other.name)
        within = [m for m in liked if limit is None or not other.beats(limit, amount(m, other))]
        least = min(amount(m, first) for m in within)
        assert least <= p.at(first)
        if first.name in p.least:
            proved += 1
            assert p.least[first.name] <= least
    assert proved


def test_three_axes(tmp_path):
    axes = [AXES[n] for n in ("volume", "variety", "liking")]
    found, menus = traded(tmp_path, ("volume", "variety", "liking"), points=9)
    assert len(found.series) >= 2
    assert [n for s in found.series for n in s.numbers] == list(range(1, len(found.points) + 1))
    for p in found.points:
        for q in found.points:
            if p is not q:
                assert any(a.beats(p.at(a), q.at(a)) for a in axes)
        # all three at once
        assert any(
            (m.volume, m.variety) == (p.at(axes[0]), p.at(axes[1])) and abs(m.liking - p.at(axes[2])) < SLACK
            for m in menus
        )


@pytest.mark.parametrize("name", ["volume", "mass", "cost", "variety"])
def test_where_the_relaxation_is_liked_enough_no_menu_is_passed_over(tmp_path, name):
    axis = AXES[name]
    config = write_few(tmp_path / "project")
    store = Store(tmp_path / "trade", Question("few", "plan.toml", {}, (name, "liking"), 1000, 1, "0"))
    points = finder(config, (name, "liking"), Ways(3, 1000, 1, 1, D(0)), store)
    points.scale()
    menus = every(config, tuple(store.facts["best"]))
    best = max(m.liking for m in menus)
    for part in ("0.5", "0.95"):
        limit = liked_at(points, axis, {}, best * D(part))
        tightest = [amount(m, axis) for m in menus if m.liking >= best * D(part)]
        least = min(tightest) if axis.less else max(tightest)
        assert not axis.beats(least, limit)
        # nor is it far off
        assert abs(limit - least) < least / 2
    assert liked_at(points, axis, {}, D(500)) is None
