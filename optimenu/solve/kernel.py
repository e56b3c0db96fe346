"""The compiled inner loop of the search: propose, weigh, accept or not.

A move is one or two *edits*. An edit takes a serving out of a cell, puts one in, or both. Edits never
leave a cell's least and most servings, so those rows need no penalty. What a move would do to the rows
is worked out beside the state and only written when the move is accepted: nothing has to be undone.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from optimenu.solve.chance import below, unit
from optimenu.solve.compiled import compiled
from optimenu.solve.penalty import one_change, two_changes
from optimenu.solve.state import (
    BROKEN,
    LENGTH,
    LOST,
    PENALTY,
    VALUE,
    deducted_at,
    drawn_value,
    keep_best,
    note_best,
)

if TYPE_CHECKING:
    from optimenu.solve.layout import Fixed
    from optimenu.solve.state import State, Work


@compiled
def anneal(
    f: Fixed,
    s: State,
    w: Work,
    moves: int,
    temperature: float,
    over: float,
    swap: float,
    pair: float,
    likely: float,
    loose: float,
) -> int:
    """Try ``moves`` moves at one temperature; return how many were accepted.

    Parameters
    ----------
    f, s, w : arrays
    moves : int
    temperature : float
        In goal units.
    over : float
        Cost of a use beyond a group's length, in goal units.
    swap : float
        Share of moves between two cells of one kind; the rest change one cell or two of one day.
    pair : float
        Share of moves that change two cells of one day at once.
    likely : float
        Share of draws that are made among the likely columns of a cell alone.
    loose : float
        Part of the rounding up of extra columns that is let off; what is found is no menu unless it is 0.
    """
    x, slot, filled, activity, drawn, uses = s.x, s.slot, s.filled, s.activity, s.drawn, s.uses
    low, high, weight, charge, hard = s.low, s.high, s.weight, s.charge, s.hard
    score, rnd = s.score, s.random
    change, touched = w.change, w.touched
    vectors, block_row = f.vectors, f.block_row
    n_active = len(f.active)
    edit_cell = np.zeros(2, dtype=np.int64)
    edit_slot = np.zeros(2, dtype=np.int64)
    edit_new = np.zeros(2, dtype=np.int64)
    vector = np.zeros(4, dtype=np.int64)
    room = len(touched) // 4
    accepted = 0
    stamp = w.stamp[0]
    for _ in range(moves):
        # --- propose
        a = f.active[below(rnd, n_active)]
        b = a
        edits = 0
        draw = unit(rnd)
        if draw < swap:
            k = f.kind_of[a]
            size = f.kind_start[k + 1] - f.kind_start[k]
            if size > 1:
                b = f.kind_cell[f.kind_start[k] + below(rnd, size)]
                if a == b:
                    continue
        if a != b:
            na, nb = filled[a], filled[b]
            if na == 0:
                continue
            sa = below(rnd, na)
            ca = slot[f.slot_start[a] + sa]
            tb = f.sister[f.sister_start[b] + f.place[ca]]
            if tb < 0:
                continue
            if na > f.count_low[a] and nb < f.count_high[b] and (nb == 0 or unit(rnd) < 0.5):
                if x[tb] >= f.high[tb]:
                    continue
                edit_cell[0], edit_slot[0], edit_new[0] = a, sa, -1
                edit_cell[1], edit_slot[1], edit_new[1] = b, -1, tb
            else:
                if nb == 0:
                    continue
                sb = below(rnd, nb)
                cb = slot[f.slot_start[b] + sb]
                ta = f.sister[f.sister_start[a] + f.place[cb]]
                if ta < 0 or ta == ca or x[ta] >= f.high[ta] or x[tb] >= f.high[tb]:
                    continue
                edit_cell[0], edit_slot[0], edit_new[0] = a, sa, ta
                edit_cell[1], edit_slot[1], edit_new[1] = b, sb, tb
            edits = 2
        else:
            wanted = 1
            if draw > 1.0 - pair:
                d = f.day_of[a]
                size = f.day_start[d + 1] - f.day_start[d]
                b = f.day_cell[f.day_start[d] + below(rnd, size)]
                if unit(rnd) < 0.5:
                    b = f.active[below(rnd, n_active)]
                if a != b and f.count_high[b] > 0:
                    wanted = 2
            bad = False
            for e in range(wanted):
                cell = a if e == 0 else b
                n = filled[cell]
                if likely > 0.0 and unit(rnd) < likely:
                    first = f.likely_start[cell]
                    new = f.likely_column[first + below(rnd, f.likely_start[cell + 1] - first)]
                else:
                    first = f.cell_start[cell]
                    new = f.cell_column[first + below(rnd, f.cell_start[cell + 1] - first)]
                at = -1
                can_add = n < f.count_high[cell]
                if can_add and (n == 0 or unit(rnd) < 0.25):
                    at = -1
                else:
                    at = below(rnd, n)
                    if n > f.count_low[cell] and unit(rnd) < 0.25:
                        new = -1
                if new >= 0 and (x[new] >= f.high[new] or (at >= 0 and slot[f.slot_start[cell] + at] == new)):
                    bad = True
                    break
                edit_cell[e], edit_slot[e], edit_new[e] = cell, at, new
                edits = e + 1
            if bad:
                continue
        # --- weigh
        stamp += 1
        n_blocks, n_rows, n_extras, n_groups = 0, 0, 0, 0
        delta = 0.0
        d_broken = 0.0
        d_penalty = 0.0
        for e in range(edits):
            cell = edit_cell[e]
            out = -1 if edit_slot[e] < 0 else slot[f.slot_start[cell] + edit_slot[e]]
            new = edit_new[e]
            vector[2 * e] = f.profile[out] if out >= 0 else 0
            vector[2 * e + 1] = f.profile[new] if new >= 0 else 0
            for side in range(2):
                c = out if side == 0 else new
                if c < 0:
                    continue
                sign = -1 if side == 0 else 1
                delta += sign * f.gain[c]
                for j in range(f.sparse_start[c], f.sparse_start[c + 1]):
                    r = f.sparse_row[j]
                    if w.row_stamp[r] != stamp:
                        w.row_stamp[r] = stamp
                        touched[room + n_rows] = r
                        n_rows += 1
                        change[r] = 0.0
                    change[r] += sign * f.sparse_coef[j]
                for j in range(f.source_start[c], f.source_start[c + 1]):
                    y = f.source_extra[j]
                    if w.extra_stamp[y] != stamp:
                        w.extra_stamp[y] = stamp
                        touched[2 * room + n_extras] = y
                        n_extras += 1
                        w.extra_change[y] = 0
                    w.extra_change[y] += sign * f.source_coef[j]
                for j in range(f.group_start[c], f.group_start[c + 1]):
                    g = f.group_id[j]
                    if w.group_stamp[g] != stamp:
                        w.group_stamp[g] = stamp
                        touched[3 * room + n_groups] = g
                        n_groups += 1
                        w.group_change[g] = 0
                    w.group_change[g] += sign
        for i in range(n_groups):
            g = touched[3 * room + i]
            n_old = uses[g]
            n_new = n_old + w.group_change[g]
            if n_new != n_old:
                length = f.deduct_start[g + 1] - f.deduct_start[g] - 1
                delta += deducted_at(f.deduct_start, f.deducted, g, n_old, over)
                delta -= deducted_at(f.deduct_start, f.deducted, g, n_new, over)
                d_broken += max(0, n_new - length) - max(0, n_old - length)
        for i in range(n_extras):
            y = touched[2 * room + i]
            divisor = f.extra_divisor[y]
            step = drawn_value(drawn[y] + w.extra_change[y], divisor, loose)
            step -= drawn_value(drawn[y], divisor, loose)
            if step != 0.0:
                for j in range(f.extra_row_start[y], f.extra_row_start[y + 1]):
                    r = f.extra_row[j]
                    if w.row_stamp[r] != stamp:
                        w.row_stamp[r] = stamp
                        touched[room + n_rows] = r
                        n_rows += 1
                        change[r] = 0.0
                    change[r] += step * f.extra_row_coef[j]
        for i in range(n_rows):
            r = touched[room + i]
            old = activity[r]
            now = old + change[r]
            v = max(0.0, max(now - high[r], low[r] - now))
            v_old = max(0.0, max(old - high[r], low[r] - old))
            u, u_old = min(v, 1.0), min(v_old, 1.0)
            d_penalty += weight[r] * (v - v_old + charge[r] * (u - u_old))
            d_broken += hard[r] * (u - u_old)
        # a block's penalty can at best vanish: stop as soon as even that would not do
        hope = 0.0
        for e in range(edits):
            at = 0
            cell = edit_cell[e]
            for q in range(f.cell_block_start[cell], f.cell_block_start[cell + 1]):
                blk = f.cell_block[q]
                if w.block_stamp[blk] != stamp:
                    w.block_stamp[blk] = stamp
                    w.block_place[blk, 0] = 0 if e == 0 else -1
                    w.block_place[blk, 1] = -1
                    touched[n_blocks] = blk
                    n_blocks += 1
                    hope += s.block_penalty[blk]
                w.block_place[blk, e] = at
                at += block_row[blk + 1] - block_row[blk]
        limit = temperature * math.log(unit(rnd))
        dropped = delta - d_penalty + hope < limit
        kept = 0
        for i in range(n_blocks):
            if dropped:
                break
            blk = touched[i]
            at_a, at_b = w.block_place[blk, 0], w.block_place[blk, 1]
            out_a = new_a = out_b = new_b = np.int64(0)
            if at_a >= 0:
                out_a, new_a = vector[0] + at_a, vector[1] + at_a
            if at_b >= 0:
                out_b, new_b = vector[2] + at_b, vector[3] + at_b
            hope -= s.block_penalty[blk]
            if out_a == new_b and out_b == new_a:
                # the same is put back as was taken out
                continue
            r0, width = block_row[blk], block_row[blk + 1] - block_row[blk]
            if at_b < 0:
                p, h = one_change(
                    vectors, out_a, new_a, r0, width, activity, low, high, weight, charge, hard, change
                )
            elif at_a < 0:
                p, h = one_change(
                    vectors, out_b, new_b, r0, width, activity, low, high, weight, charge, hard, change
                )
            else:
                p, h = two_changes(
                    vectors,
                    out_a,
                    new_a,
                    out_b,
                    new_b,
                    r0,
                    width,
                    activity,
                    low,
                    high,
                    weight,
                    charge,
                    hard,
                    change,
                )
            d_penalty += p - s.block_penalty[blk]
            d_broken += h - s.block_broken[blk]
            w.new_penalty[kept] = p
            w.new_broken[kept] = h
            touched[kept] = blk
            kept += 1
            dropped = delta - d_penalty + hope < limit
        if dropped:
            continue
        n_blocks = kept
        # --- write
        accepted += 1
        if s.log[LENGTH] + 4 > len(s.journal):
            keep_best(s)
            if s.log[LENGTH] + 4 > len(s.journal):
                s.log[LOST] = 1
                s.log[LENGTH] = 0
        for e in range(edits):
            cell = edit_cell[e]
            first = f.slot_start[cell]
            new = edit_new[e]
            at = edit_slot[e]
            if at >= 0:
                out = slot[first + at]
                x[out] -= 1
                s.journal[s.log[LENGTH]] = -1 - out
                s.log[LENGTH] += 1
                if new < 0:
                    filled[cell] -= 1
                    slot[first + at] = slot[first + filled[cell]]
                else:
                    slot[first + at] = new
            else:
                slot[first + filled[cell]] = new
                filled[cell] += 1
            if new >= 0:
                x[new] += 1
                s.journal[s.log[LENGTH]] = new
                s.log[LENGTH] += 1
        for i in range(n_blocks):
            blk = touched[i]
            for r in range(block_row[blk], block_row[blk + 1]):
                activity[r] += change[r]
            s.block_penalty[blk] = w.new_penalty[i]
            s.block_broken[blk] = w.new_broken[i]
        for i in range(n_rows):
            r = touched[room + i]
            activity[r] += change[r]
        for i in range(n_extras):
            y = touched[2 * room + i]
            drawn[y] += w.extra_change[y]
        for i in range(n_groups):
            g = touched[3 * room + i]
            uses[g] += w.group_change[g]
        score[VALUE] += delta
        score[PENALTY] += d_penalty
        score[BROKEN] += d_broken
        if score[BROKEN] < 0.5 and loose == 0.0:
            note_best(s)
    w.stamp[0] = stamp
    return accepted
