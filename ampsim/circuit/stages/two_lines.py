"""Networks between a phase inverter and the output valves, where the signal goes in two lines: masters and the cut."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template

_R, _C, _P = ("resistor",), ("capacitor",), ("pot",)


def _cut(bench: StageBuilder) -> tuple[str, ...]:
    first, second = bench.signal
    pot = bench.designators("pot")[0]
    far = f"{pot.lower()}_wiper"
    bench.put(pot, top=first, wiper=far, bottom=far)
    foot = bench.through("end_resistor", far)
    bench.across("capacitor", foot, second)
    return bench.signal


def _master(bench: StageBuilder) -> tuple[str, ...]:
    foot = bench.rail("bias") if bench.has("bias") else GROUND
    outs = []
    for side, signal in zip("ab", bench.signal, strict=True):
        top = bench.through(f"coupling_{side}", signal)
        pot = bench.designators(f"pot_{side}")[0]
        wiper = f"{pot.lower()}_wiper"
        bench.put(pot, top=top, wiper=wiper, bottom=foot)
        bench.across(f"grid_leak_{side}", wiper, foot)
        outs.append(wiper)
    return tuple(outs)


def _cross_line(bench: StageBuilder) -> tuple[str, ...]:
    foot = bench.rail("bias") if bench.has("bias") else GROUND
    lines = []
    for side, signal in zip("ab", bench.signal, strict=True):
        lines.append(bench.through(f"coupling_{side}", signal))
        bench.across(f"grid_leak_{side}", lines[-1], foot)
    pot = bench.designators("pot")[0]
    # Turned down, the lines lie on one another: the wiper is at the end that rotation 1 leaves.
    far = f"{pot.lower()}_wiper"
    bench.put(pot, top=far, wiper=far, bottom=lines[0])
    bench.across("end_resistor", far, lines[1])
    if not bench.has("end_resistor"):
        bench.joins.append((far, lines[1]))
    return tuple(lines)


def both_sides(
    about: str, kinds: tuple[str, ...], name: str, required: bool = False, several: bool = False
) -> dict[str, Role]:
    """The roles of a part that stands on both sides of a pair.

    Parameters
    ----------
    about, kinds, required, several
        As those of `Role`.
    name : str
        Of the role, without "_a" or "_b".
    """
    return {f"{name}_{side}": Role(f"{about}, side {side}", kinds, required, several) for side in "ab"}


CUT = Template(
    "treble cut",
    Kind.NETWORK,
    "a pot and a capacitor between the two lines of a phase inverter: turned up, treble cancels",
    {
        "pot": Role("cut pot, wired as a variable resistor", _P, True),
        "capacitor": Role("capacitor in series with it", _C, True),
        "end_resistor": Role("resistor that stays in series with it", _R),
    },
    2,
    _cut,
)

_LINES = {
    **both_sides("coupling capacitor", _C, "coupling"),
    **both_sides("grid leak that stays when the pot's wiper lifts", _R, "grid_leak"),
    "bias": Role("negative rail for fixed bias; without it the pots end on ground", ("rail",)),
}

MASTER = Template(
    "master after the inverter",
    Kind.MASTER,
    "a pot in each line of a phase inverter, both on one shaft, in the place of the grid leaks",
    {**both_sides("track of the master", _P, "pot", True), **_LINES},
    2,
    _master,
)

CROSS_LINE = Template(
    "cross-line master",
    Kind.MASTER,
    "one pot between the two lines of a phase inverter: turned down, they cancel",
    {
        "pot": Role("master pot, wired as a variable resistor between the lines", _P, True),
        "end_resistor": Role("resistor that stays in series with it", _R),
        **_LINES,
    },
    2,
    _cross_line,
)

TEMPLATES = (CUT, MASTER, CROSS_LINE)
