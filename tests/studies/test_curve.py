"""Which points are efficient, where the knee is, which gap is halved."""

from __future__ import annotations

from decimal import Decimal
from random import Random

from optimenu.studies.axes import AXES
from optimenu.studies.curve import Point, efficient, knee
from optimenu.studies.trade import widest

D = Decimal
VOLUME, LIKING, VARIETY = AXES["volume"], AXES["liking"], AXES["variety"]


def point(volume, liking, variety=0):
    amounts = {"volume": D(volume), "liking": D(liking), "variety": D(variety)}
    return Point({}, "menu", f"{volume}/{liking}/{variety}", amounts)


def test_a_point_that_another_beats_in_everything_is_left_out():
    points = [point(5, 90), point(4, 80), point(4, 85), point(6, 90), point(7, 95), point(7, 95)]
    kept = efficient(points, (VOLUME, LIKING))
    assert [(p.at(VOLUME), p.at(LIKING)) for p in kept] == [(4, 85), (5, 90), (7, 95)]
    # 4, 80 has more variety than any other
    kept = efficient([*points[:1], point(4, 80, 9), *points[2:]], (VOLUME, LIKING, VARIETY))
    assert [p.run for p in kept] == ["4/80/9", "4/85/0", "5/90/0", "7/95/0"]
    assert efficient([Point({}, "undecided"), point(1, 1)], (VOLUME, LIKING)) == [point(1, 1)]


def test_no_efficient_point_is_dominated_and_every_other_is():
    rng = Random(4)
    for _ in range(50):
        points = [point(rng.randint(1, 9), rng.randint(1, 9), rng.randint(1, 3)) for _ in range(12)]
        kept = efficient(points, (VOLUME, LIKING, VARIETY))

        def good(p):
            return (-p.at(VOLUME), p.at(LIKING), p.at(VARIETY))

        # all pairs, written out again
        for p in points:
            beaten = any(
                all(a >= b for a, b in zip(good(q), good(p), strict=True)) and good(q) != good(p)
                for q in points
            )
            assert beaten == (good(p) not in {good(k) for k in kept})
        assert len({good(k) for k in kept}) == len(kept)


def test_the_knee_is_farthest_from_the_chord_on_the_good_side():
    # in normalised axes the chord runs from (0, 0) to (1, 1); 2, 80 lies at (1/9, 7/9), 4, 90 at (3/9, 8/9)
    points = [point(1, 10), point(2, 80), point(4, 90), point(10, 100)]
    assert knee(points, (VOLUME, LIKING)) == 1
    # a dent on the bad side is no knee, nor is a straight line, nor two points
    assert knee([point(1, 10), point(8, 20), point(10, 100)], (VOLUME, LIKING)) is None
    assert knee([point(1, 10), point(2, 20), point(3, 30)], (VOLUME, LIKING)) is None
    assert knee(points[:2], (VOLUME, LIKING)) is None
    assert knee([point(5, 10), point(5, 10), point(5, 10)], (VOLUME, LIKING)) is None
    # both axes better when larger: volume is traded for variety
    both = [point(0, 9, 1), point(0, 8, 8), point(0, 1, 9)]
    assert knee(both, (VARIETY, LIKING)) == 1


def test_the_largest_gap_is_halved_in_normalised_axes():
    nodes = {D(0): point(0, 0), D(10): point(10, 90), D(30): point(30, 100)}
    # (1/3, 0.9) is longer than (2/3, 0.1)
    assert widest(nodes, VOLUME, LIKING) == D(5)
    nodes[D(5)] = point(5, 85)
    assert widest(nodes, VOLUME, LIKING) == D("2.5")
    # where there is no menu only the limit counts
    assert (
        widest({D(0): Point({}, "undecided"), D(10): point(10, 0), D(30): point(30, 1)}, VOLUME, LIKING) == 20
    )
    # whole steps only, and none tried twice
    assert widest({D(3): point(0, 1, 3), D(4): point(0, 0, 4)}, VARIETY, LIKING) is None
    assert widest({D(3): point(0, 1, 3), D(5): point(0, 0, 5)}, VARIETY, LIKING) == 4
