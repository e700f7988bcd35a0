"""Stages with an operational amplifier: gain without and with a turn of sign, followers, diodes in the feedback."""

from __future__ import annotations

from .diodes import back_to_back, clipping_roles
from .template import GROUND, Kind, Role, StageBuilder, Template


def middle_net(bench: StageBuilder) -> str:
    """What the amplifier's inputs rest at: the rail named as middle of a single supply, or ground."""
    return bench.rail("middle") if bench.has("middle") else GROUND


def amplifier(bench: StageBuilder, plus: str, minus: str, out: str, role: str = "amplifier") -> None:
    """Fit the amplifier in a role, its supplies on the rails named, the negative one on ground by default.

    Parameters
    ----------
    bench : StageBuilder
    plus, minus, out : str
        Nets of its inputs and of its output.
    role : str
    """
    low = bench.rail("negative_supply") if bench.has("negative_supply") else GROUND
    bench.put(bench.designators(role)[0], plus=plus, minus=minus, out=out, vplus=bench.rail("supply"), vminus=low)


def handed_on(bench: StageBuilder, out: str) -> tuple[str, ...]:
    """What comes behind an output: its resistor, its capacitor, its leak."""
    after = bench.through("output_resistor", out)
    far = bench.through("output_capacitor", after)
    bench.across("output_leak", far, GROUND)
    return (far,)


def _feedback(bench: StageBuilder, minus: str, out: str) -> None:
    middle = out
    if bench.has("gain"):
        # Turned up the pot has more resistance between output and input.
        pot = bench.designators("gain")[0]
        middle = f"{pot.lower()}_bottom"
        bench.put(pot, top=out, wiper=out, bottom=middle)
        if not bench.has("feedback_resistor"):
            bench.joins.append((middle, minus))
    bench.across("feedback_resistor", middle, minus)
    bench.across("feedback_capacitor", out, minus)
    back_to_back(bench, minus, out)


def _non_inverting(bench: StageBuilder) -> tuple[str, ...]:
    signal, out = bench.through("coupling", bench.signal[0]), bench.net("out", "amplifier")
    bench.across("input_leak", signal, middle_net(bench))
    plus = bench.through("series_resistor", signal)
    fed_back = any(bench.has(role) for role in ("feedback_resistor", "gain"))
    minus = bench.net("minus", "amplifier") if fed_back else out
    amplifier(bench, plus, minus, out)
    if fed_back:
        _feedback(bench, minus, out)
        foot = bench.through("foot_capacitor", GROUND if bench.has("foot_capacitor") else middle_net(bench))
        bench.across("foot_resistor", minus, foot)
    return handed_on(bench, out)


def _inverting(bench: StageBuilder) -> tuple[str, ...]:
    out, minus = bench.net("out", "amplifier"), bench.net("minus", "amplifier")
    bench.across("input_resistor", bench.through("coupling", bench.signal[0]), minus)
    plus = middle_net(bench)
    if bench.has("bias_resistor"):
        plus = bench.through("bias_resistor", plus)
        bench.across("bias_capacitor", plus, GROUND)
    amplifier(bench, plus, minus, out)
    _feedback(bench, minus, out)
    return handed_on(bench, out)


_R, _C, _POT = ("resistor",), ("capacitor",), ("pot",)
SUPPLIES = {
    "supply": Role("rail of the positive supply pin", ("rail",), True),
    "negative_supply": Role("rail of the negative supply pin (default: ground)", ("rail",)),
    "middle": Role("rail at half of a single supply, where the inputs rest (default: ground)", ("rail",)),
}
OUTPUT = {
    "output_resistor": Role("resistor in series with the output", _R),
    "output_capacitor": Role("capacitor in series with it", _C),
    "output_leak": Role("resistor from there to ground", _R),
}
_AMPLIFIER = {"amplifier": Role("operational amplifier", ("operational amplifier",), True), **SUPPLIES}
_FEEDBACK = {
    "gain": Role("gain pot as a variable resistor in the feedback", _POT),
    "feedback_capacitor": Role("capacitor from the output to the inverting input", _C),
    **clipping_roles("from the inverting input to the output"),
}

NON_INVERTING = Template(
    "op-amp stage",
    Kind.GAIN,
    "operational amplifier without a turn of sign; without feedback parts a follower",
    {
        **_AMPLIFIER,
        "coupling": Role("capacitor from the stage before", _C),
        "input_leak": Role("resistor from the input to ground, or to the middle of the supply", _R),
        "series_resistor": Role("resistor in series with the input", _R),
        "feedback_resistor": Role("resistor from the output to the inverting input", _R),
        "foot_resistor": Role("resistor from the inverting input on", _R),
        "foot_capacitor": Role("capacitor from there to ground", _C),
        **_FEEDBACK,
        **OUTPUT,
    },
    1,
    _non_inverting,
)

INVERTING = Template(
    "inverting op-amp stage",
    Kind.GAIN,
    "operational amplifier that turns the sign; diodes in its feedback limit it softly",
    {
        **_AMPLIFIER,
        "coupling": Role("capacitor from the stage before", _C),
        "input_resistor": Role("resistor to the inverting input", _R, True),
        "feedback_resistor": Role("resistor from the output to the inverting input", _R, True),
        "bias_resistor": Role("resistor from the other input to ground, or to the middle of the supply", _R),
        "bias_capacitor": Role("capacitor from there to ground", _C),
        **_FEEDBACK,
        **OUTPUT,
    },
    1,
    _inverting,
)

TEMPLATES = (NON_INVERTING, INVERTING)
