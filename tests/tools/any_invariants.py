"""What holds for every amp with every mod, however its circuit is written: each check gives the faults that it found.

A check takes a mod of `tests.tools.any_mods` and gives lines of text, none where all is well.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

import numpy as np
import xarray as xr

from ampsim.bench.proof.limits import Verdict
from ampsim.bench.proof.sheet import proof_sheet
from ampsim.bench.proof.sweeps import sweep_proof, take_sweep
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.plugging import jack_names, plug_in, usual_sources
from ampsim.circuit.signal_path import valve_stages
from ampsim.simulation.analyses import Transient
from ampsim.simulation.response import simulate
from ampsim.simulation.stimuli import Burst
from ampsim.studies.findings import Finding, Grade
from ampsim.studies.section import Section
from ampsim.studies.sheet.sheet import examine
from ampsim.studies.topics import topic_section
from tests.tools.any_amps import Lot
from tests.tools.any_mods import MadeMod
from tests.tools.equal_forms import equal_amps, equal_mods
from tests.tools.every_command import curve, healthy_state, volts
from tests.tools.read_wiring import printed_faults

_CLOSE = 0.02  # of a value, between two forms: other orders of parts move the last digits of ngspice, and a search
# Beside that: decibels are often a difference of two levels, each known to a hundredth of a percent.
_NOTHING = {"dB": 1e-3}


def wiring_reads_back(mod: MadeMod) -> Iterator[str]:
    """The from-to list as it is printed, read back lug by lug with the contacts of the switches, is the circuit."""
    yield from printed_faults(mod.amp.amp, mod.modded)


def equal_circuits_agree(mod: MadeMod, topic: str = "stability", most: int = 4) -> Iterator[str]:
    """The same circuit written otherwise gets the same verdict, in one topic, over some of its forms.

    Parameters
    ----------
    mod : MadeMod
    topic : str
        Of the sheet.
    most : int
        How many forms are tried.
    """
    drawn = section_of(mod, topic)
    for form, other, names in _forms(mod, most):
        found = section_of(other, topic)
        for fault in differences(drawn, found, names, whole="two" not in form and "rest" not in form):
            yield f"{topic}, {form}: {fault}"


def section_of(mod: MadeMod, topic: str) -> Section:
    """One topic of the sheet."""
    return topic_section(topic, examine(mod.amp.amp, mod.modded))


def _forms(mod: MadeMod, most: int) -> list[tuple[str, MadeMod, Mapping[str, str]]]:
    forms = [(f"mod: {form}", other, {}) for form, other in equal_mods(mod)]
    amps = ((each, each.fitted(mod)) for each in equal_amps(mod.amp))
    forms += [(each.form, fitted, each.names) for each, fitted in amps if fitted is not None]
    return Lot(mod.amp.seed, mod.amp.number, 77).shuffled(forms)[:most]


def differences(drawn: Section, found: Section, names: Mapping[str, str], whole: bool = True) -> Iterator[str]:
    """What two sections say otherwise of the same subjects.

    Parameters
    ----------
    drawn, found : Section
        Of two circuits that are equal.
    names : mapping
        What the first calls the others.
    whole : bool
        Whether every part is one in both. Where one is two, each of them carries less: what single parts carry is not
        compared then.
    """
    if drawn.verdict != found.verdict:
        yield f"{drawn.verdict} becomes {found.verdict}"
    ours, theirs = _worst_values(drawn, names), _worst_values(found, {})
    for subject in ours.keys() & theirs.keys():
        if not whole and subject.split()[-1] in ("parts", "rating"):
            continue
        one, other = ours[subject], theirs[subject]
        close = _CLOSE * max(abs(one.value), abs(other.value)) + _NOTHING.get(one.unit, 1e-6)
        if one.grade is not other.grade:
            yield f"{subject}: {one.grade} becomes {other.grade}"
        elif abs(one.value - other.value) > close:
            yield f"{subject}: {one.value:.5g} becomes {other.value:.5g}"


def _worst_values(section: Section, names: Mapping[str, str]) -> dict[str, Finding]:
    """By subject, in the names of the other form, the most worrying finding."""
    found: dict[str, Finding] = {}
    for each in section.in_order:
        words = [names.get(word, word) for word in each.subject.split()]
        found.setdefault(" ".join(words), each)
    return found


def settings_matter(mod: MadeMod, topic: str) -> Iterator[str]:
    """A finding at a setting differs from the same as drawn; a sentence names no control that the amp lacks."""
    added = [each for each in mod.modded.controls if each not in mod.amp.amp.controls]
    if not added:
        return
    drawn = topic_section(topic, examine(mod.amp.amp, mod.modded, [{}]))
    as_drawn = {(each.subject, each.variant): each for each in drawn.findings}
    for each in section_of(mod, topic).findings:
        same = as_drawn.get((each.subject, each.variant))
        named = [name for name in added if f"{name} " in each.position]
        if same is not None and named and same.position == "as drawn" and _equal(each, same):
            yield f"{topic}: {each.subject} at {each.position}: {each.value:.5g} as when drawn"


def _equal(one: Finding, other: Finding) -> bool:
    return abs(one.value - other.value) <= 1e-6 * max(abs(one.value), abs(other.value), 1e-9)


def unknown_has_a_reason(mod: MadeMod, topic: str) -> Iterator[str]:
    """What is not known says why; margins are known wherever feedback leads back."""
    section = section_of(mod, topic)
    for each in section.findings:
        if each.grade is Grade.UNKNOWN and (topic == "stability" or not _gives_a_reason(each.words)):
            yield f"{topic}: {each.sentence}"
    led_back = mod.amp.kind.startswith("fed-back") and mod.kind != "feedback lifted"
    if topic == "stability" and led_back and not section.findings:
        yield "stability: feedback leads back, and nothing is said of it"


def _gives_a_reason(words: str) -> bool:
    return any(word in words for word in ("no limit", "No limit", "because", "cannot", "could not", "not "))


@lru_cache(maxsize=2)
def swings_by_itself(amp: Amp) -> bool:
    """Whether an amp as drawn goes on swinging long after a knock: seen in time, whatever is said of its loops."""
    knock = Burst(frequency=400.0, level=0.01, start=0.01, stop=0.02, duration=1.5)
    found = simulate(amp, Transient(knock, 100e-6, 1e-3), nodes=["speaker"])["voltage"].squeeze()
    late = found.values[found["time"].values > 1.2]
    return float(np.ptp(late)) > 0.1


def healthy_sweeps_pass(mod: MadeMod, seed: int = 1) -> Iterator[str]:
    """A sweep of an amp within its tolerances does not fail, from the drawing's source, any jack and any grid."""
    amp = mod.modded
    sources = [*map(str, usual_sources(amp)), *(f"generator 600 at {jack}" for jack in jack_names(amp))]
    grids = [stage.driven[0] for stage in valve_stages(build_circuit(amp))[1:]]
    sources += [f"generator 600 at {Lot(seed, 5).one(grids)} through 100n"] if grids else []
    for source in dict.fromkeys(sources):
        # One healthy amp in a hundred is further out than all of a run of a hundred: two of two are not.
        words = _sweep_fails(amp, source, seed)
        if words and _sweep_fails(amp, source, seed + 1000):
            yield f"{source}: {words}"


def _sweep_fails(amp: Amp, source: str, seed: int) -> str:
    """What is said of the sweep of a healthy amp that fails; nothing where it does not."""
    plugged = plug_in(amp, source)
    hertz, level = curve(plugged, {}, healthy_state(plugged, {}, seed))
    measured = xr.Dataset({"gain_db": ("frequency", level)}, {"frequency": hertz})
    found = sweep_proof(take_sweep("", amp, {}, measured, source=source))
    return found.finding.words if found.verdict is Verdict.FAIL else ""


def healthy_amps_pass(mod: MadeMod, seed: int = 1) -> Iterator[str]:
    """An amp within its tolerances passes the test sheet, stock and modded."""
    for amp in (mod.amp.amp, mod.modded):
        state = healthy_state(amp, {}, seed)
        read = {place: value for place, value in volts(amp, {}, state).items() if " " not in place}
        sheet = proof_sheet(amp, read, mains=232.3, mains_drawn=230.0, meter=10e6)
        if not sheet.passed:
            failed = [row for row in sheet.rows if row.margin is not None and row.margin < 0]
            words = [f"{row.place} {row.measured}, {row.low:.4g} to {row.high:.4g}" for row in failed]
            yield f"{amp.variant}: {sheet.verdict}: {'; '.join(words)}"
