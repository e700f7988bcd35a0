"""How an amp gets to rest: its supplies raised from zero, and what is done where the way there ends."""

from __future__ import annotations

from .kernel_arguments import AHEAD, FRESH, OLD, OLD_P, WANTED, Solver, V
from .newton import lead, newton

# Of the supplies, where raising them may begin.
FIRST_SHARES = (1e-3, 1e-2, 0.1, 1.0)
# So often may the way end; then a port is pushed by so many of its units, so much further on [ratio].
_EDGES, _PUSH, _BEYOND = 8, 100.0, 0.01


def arrive(solver: Solver) -> bool:
    """Solve for the voltages of the ports at rest, from nothing, by any way there is; whether one was found."""
    return bool(lead(solver)) or _from_open_parts(solver) or _over_edges(solver)


def _from_open_parts(solver: Solver) -> bool:
    """As `lead`, but from where nothing conducts yet; an amplifier without a supply has no solution near zero."""
    work = solver.work
    wanted = work[WANTED].copy()
    for share in FIRST_SHARES:
        work[V] = work[OLD_P] = share * wanted
        solver.state[FRESH] = 0
        if newton(work[OLD_P], solver):
            work[OLD] = work[V]
            return bool(lead(solver))
    return False


def _over_edges(solver: Solver) -> bool:
    """As `lead`, but on past places where the way ends, as where a glow lamp strikes."""
    work = solver.work
    work[V] = work[OLD] = work[OLD_P] = 0.0
    for _ in range(_EDGES):
        if lead(solver):
            return True
        if not _jump(solver):
            return False
    return False


def _jump(solver: Solver) -> bool:
    """From the last solution found to one a little further on, by a push at one port; whether there is one."""
    work = solver.work
    edge, further = work[OLD].copy(), work[AHEAD] + _BEYOND * (work[WANTED] - work[AHEAD])
    for row, unit in enumerate(solver.unit):
        for push in (_PUSH, -_PUSH) if unit > 0.0 else ():
            work[V] = edge
            work[V, row] += push / unit
            solver.state[FRESH] = 0
            if newton(further, solver):
                work[OLD], work[OLD_P] = work[V], further
                return True
    return False
