"""Plain searches through everything the bench could do, written without a look at the planner."""

import heapq
from itertools import combinations, count


def fewest_without_lifting(targets, *, lasting=(), never=False):
    """Give the least (strips, masks, baths), None where no order exists.

    `targets` are different recipes as dicts of whole minutes by dye. All open oxide holds the same; a state is which
    targets are covered, what the open oxide holds, and which colour was masked last in this run.
    """
    targets = [dict(t) for t in targets]
    dyes = sorted({d for t in targets for d in t})
    everything = frozenset(range(len(targets)))
    ticket = count()
    queue = [((0, 0, 0), next(ticket), frozenset(), (0,) * len(dyes), None)]
    done = set()
    goals = [tuple(t.get(d, 0) for d in dyes) for t in targets]
    while queue:
        cost, _, covered, held, last = heapq.heappop(queue)
        if (covered, held, last) in done:
            continue
        done.add((covered, held, last))
        left = everything - covered
        strips, masks, baths = cost
        may_finish = [i for i in left if goals[i] == held and (not never or follows(goals, last, i))]
        if len(left) == 1 and may_finish:
            return cost
        moves = [((strips, masks + 1, baths), covered | {i}, held, i) for i in may_finish]
        if not any(held[dyes.index(d)] for d in lasting if d in dyes):
            moves.append(((strips + 1, masks, baths), covered, (0,) * len(dyes), None))
        for d in range(len(dyes)):
            for level in {goals[i][d] for i in left}:
                more = (*held[:d], level, *held[d + 1 :])
                if level > held[d] and any(all(m <= g for m, g in zip(more, goals[i], strict=True)) for i in left):
                    moves.append(((strips, masks, baths + 1), covered, more, last))
        for move in moves:
            if move[1:] not in done:
                heapq.heappush(queue, (move[0], next(ticket), *move[1:]))
    return None


def follows(goals, last, i):
    """Overdye `never`: on top of bare oxide, or of less of the same single dye."""
    if last is None or not any(goals[last]):
        return True
    used = [sum(m > 0 for m in goals[k]) for k in (last, i)]
    return used == [1, 1] and all(a <= b for a, b in zip(goals[last], goals[i], strict=True))


def fewest_over_choices(choices, *, lasting=(), never=False):
    """Give the least (strips, masks, baths) over every choice of one recipe per colour; same recipes share a mask."""
    best = None
    picked = [[]]
    for options in choices:
        picked = [[*some, option] for some in picked for option in options]
    for recipes in picked:
        different = [dict(t) for t in {tuple(sorted(r.items())) for r in recipes}]
        cost = fewest_without_lifting(different, lasting=lasting, never=never)
        if cost is not None and (best is None or cost < best):
            best = cost
    return best


def largest_antichain(targets, comparable):
    """Size of the largest set no two of which are comparable, by trying all."""
    for size in range(len(targets), 0, -1):
        for some in combinations(targets, size):
            if not any(comparable(a, b) for a, b in combinations(some, 2)):
                return size
    return 0


GONE = None
"""Stands for a recipe that cannot become the wanted one any more without a strip."""


def front_with_lifting(targets, minutes, *, lasting=()):
    """Give every (strips, masks, baths, lifts) that no other is within, by going through all steps at the bench.

    `targets` are different recipes as dicts of whole minutes by dye, `minutes` the times a bath may take. A state says
    of every target what its oxide holds, whether a lasting dye is in it, and which mask it is under (0: none).
    """
    dyes = sorted({d for t in targets for d in t})
    goals = [tuple(t.get(d, 0) for d in dyes) for t in targets]
    bare = (0,) * len(dyes)
    start = tuple((bare, False, 0) for _ in goals)
    ticket = count()
    queue = [(0, next(ticket), (0, 0, 0, 0), start)]
    best, found = {}, []
    while queue:
        _, _, cost, state = heapq.heappop(queue)
        if any(within(other, cost) for other in found):
            continue
        if any(within(other, cost) and other != cost for other in best[state]) if state in best else False:
            continue
        if all(held == goal for (held, _, _), goal in zip(state, goals, strict=True)):
            found.append(cost)
            continue
        for extra, after in every_step(state, goals, dyes, minutes, lasting):
            after = renumbered(after)
            total = tuple(a + b for a, b in zip(cost, extra, strict=True))
            known = best.setdefault(after, [])
            if any(within(other, total) for other in known) or any(within(other, total) for other in found):
                continue
            known[:] = [other for other in known if not within(total, other)] + [total]
            heapq.heappush(queue, (sum(total), next(ticket), total, after))
    return sorted(c for c in found if not any(o != c and within(o, c) for o in found))


def within(first, second):
    return all(a <= b for a, b in zip(first, second, strict=True))


def renumbered(state):
    """Number the masks by first use, so that equal states look equal."""
    names = {0: 0}
    return tuple((held, lasts, names.setdefault(mask, len(names))) for held, lasts, mask in state)


def every_step(state, goals, dyes, minutes, lasting):
    open_now = [i for i, (_, _, mask) in enumerate(state) if mask == 0]
    masks = sorted({mask for _, _, mask in state} - {0})
    for size in range(1, len(open_now) + 1):
        for some in combinations(open_now, size):
            new = max(masks, default=0) + 1
            yield (0, 1, 0, 0), tuple((h, x, new if i in some else m) for i, (h, x, m) in enumerate(state))
    for size in range(1, len(masks) + 1):
        for some in combinations(masks, size):
            yield (0, 0, 0, 1), tuple((h, x, 0 if m in some else m) for h, x, m in state)
    if open_now and not any(state[i][1] for i in open_now):
        bare = (0,) * len(dyes)
        yield (1, 0, 0, 0), tuple((bare, False, 0) if m == 0 else (h, x, m) for h, x, m in state)
    for d, dye in enumerate(dyes):
        for time in minutes:
            after = list(state)
            for i in open_now:
                held, lasts, mask = state[i]
                more = GONE if held is GONE else (*held[:d], held[d] + time, *held[d + 1 :])
                if more is not GONE and not within(more, goals[i]):
                    more = GONE
                after[i] = (more, lasts or dye in lasting, mask)
            if any(after[i][0] is not GONE for i in open_now):
                yield (0, 0, 1, 0), tuple(after)
