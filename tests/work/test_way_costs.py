"""Where a wire cannot come from within what it may cost is known without looking for it, and never said of another."""

from __future__ import annotations

from collections import Counter
from copy import deepcopy
from random import Random

import pytest

from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.work.schematic import standing
from ampsim.work.schematic.board import Board
from ampsim.work.schematic.contents import contents
from ampsim.work.schematic.geometry import Point, Sign
from ampsim.work.schematic.rows import lay_out
from ampsim.work.schematic.symbols import sign
from ampsim.work.schematic.way_costs import WayCosts

SIDE = 14


def crowded(rng: Random) -> tuple[Board, set[Point]]:
    """A board with signs and wires by lot, and the points of one net's tree."""
    board = Board()
    for number in range(22):
        at = (rng.randrange(SIDE), rng.randrange(SIDE))
        flag = sign("flag", "A", at, rng.choice(["left", "right", "up", "down"]))
        if board.free([flag.box], [(at, f"net {number % 5}")], 0.0):
            board.put_sign(flag, f"net {number % 5}")
    for point, net in list(board.pins.items()):
        board.connect(net, point, most=30.0)
    return board, board.trees["net 0"]


def test_what_is_ruled_out_has_no_way() -> None:
    rng = Random(1)
    found: Counter[tuple[bool, bool]] = Counter()
    for board, tree in (crowded(rng) for _ in range(6)):
        costs = WayCosts(board, "net 0", tree)
        for most in (4.0, 9.0, 16.0, 30.0):
            for _ in range(20):
                at = (rng.randrange(-2, SIDE + 2), rng.randrange(-2, SIDE + 2))
                if at in board.pins or at in tree or not board.free([], [(at, "net 0")], 0.0):
                    continue
                tried = deepcopy(board)
                found[costs.within(at, most), tried.connect("net 0", at, set(tree), most)] += 1
    assert not found[False, True]
    assert min(found[True, True], found[False, False]) > 50, found


def test_a_net_that_is_shut_in_is_not_looked_for_from_everywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[Sign] = []
    take_sign = Board.take_sign

    def counted(self: Board, each: Sign) -> None:
        taken.append(each)
        take_sign(self, each)

    monkeypatch.setattr(Board, "take_sign", counted)
    lay_out(contents(apply_mods(load_amp("workshop-a"), load_mod("depth"))))
    with_costs = len(taken)
    monkeypatch.setattr(standing, "_PATIENCE", 10**6)
    lay_out(contents(apply_mods(load_amp("workshop-a"), load_mod("depth"))))
    assert with_costs < (len(taken) - with_costs) / 20
