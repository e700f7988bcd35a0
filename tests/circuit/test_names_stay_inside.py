"""Nobody outside `circuit/stages` asks for a template, or a role of one, by its name; nor for a parameter of a law."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import ampsim
from ampsim.circuit.stages import TEMPLATES
from ampsim.circuit.valves.laws import LAWS

HOUSE = Path(ampsim.__file__).parent
# Words that are a template's name and something else besides, and one description that is written.
MEANT_OTHERWISE = {
    ("circuit/designators.py", "power supply"): "what a drawing means by letters",
    ("audio/render.py", "load"): "a coordinate of the response",
    ("bench/valves/driven.py", "single-ended output"): "the circuit of a published point",
    ("circuit/landing/conditions.py", "coupling"): "what a part does, found in the nets",
    ("circuit/part_entries.py", "load"): "an entry of a winding",
    ("circuit/valves/parsing.py", "grid-leak stage"): "the circuit of a published point",
    ("circuit/valves/parsing.py", "single-ended output"): "the circuit of a published point",
    ("circuit/source.py", "guitar"): "a source, as files and commands write it",
    ("circuit/source.py", "generator"): "a source, as files and commands write it",
    ("interface/lessons/stage.py", "coupling"): "writes the amp of a lesson",
    ("interface/lessons/stage.py", "triode stage"): "writes the amp of a lesson",
    ("library/netlists/importing.py", "free wiring"): "writes the amp of a netlist",
    ("library/netlists/importing.py", "oscillator of any wiring"): "writes the amp of a netlist",
    ("library/reverb_tanks.py", "coupling"): "an entry of a reverb tank",
    ("library/supply_parts.py", "load"): "an entry of a winding",
    ("pictures/axes.py", "guitar"): "the band of frequencies shaded in a picture",
    ("studies/stability/findings.py", "load"): "a column of a table",
}
# Where a stage's template and roles may be touched: looked up in the registry, read from a file, listed for a reader.
TOUCHED = {
    "circuit/build.py": {"template"},
    "circuit/lines.py": {"template"},
    "circuit/signal_path.py": {"template"},
    "circuit/usual_values.py": {"template", "roles"},
    "library/amps.py": {"roles"},
    "library/assumptions.py": {"template", "roles"},
    "library/overview.py": {"template", "roles"},
    "library/stage_guide.py": {"roles"},
}
# What may be imported from `circuit.stages` and its modules; never a template by its constant.
IMPORTED = {
    "stages": {"TEMPLATES", "Kind", "Template", "stages_of", "with_part"},
    "stages.template": {
        "GROUND",
        "Element",
        "Role",
        "StageBuilder",
        "end_names",
        "net_word",
        "rail_net",
        "tap_net",
        "supply_net",
        "two_ends",
    },
    "stages.usual_values": {"usual_span"},
}
# Names of parameters that mean something else besides, and the others.
OTHER_WORDS = {"C", "G", "exponent", "k", "mu", "width", "x"}
PARAMETERS = {each.name for law in LAWS.values() for each in law.parameters} - OTHER_WORDS


# Where laws are written down.
LAWS_AT_HOME = ("circuit/valves/", "circuit/supply/vacuum_diode.py")


def modules() -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(HOUSE.rglob("*.py")):
        name = path.relative_to(HOUSE).as_posix()
        if not name.startswith("circuit/stages/"):
            yield name, ast.parse(path.read_text(encoding="utf-8"))


def breaches(name: str, tree: ast.Module) -> Iterator[str]:
    for part in ast.walk(tree):
        if isinstance(part, ast.Constant) and part.value in TEMPLATES and (name, part.value) not in MEANT_OTHERWISE:
            yield f"{name}:{part.lineno} {part.value!r} is a template's name"
        if isinstance(part, ast.Constant) and part.value in PARAMETERS and not name.startswith(LAWS_AT_HOME):
            yield f"{name}:{part.lineno} {part.value!r} is a parameter of a law"
        if isinstance(part, ast.Attribute) and part.attr in {"template", "roles"} - TOUCHED.get(name, set()):
            yield f"{name}:{part.lineno} .{part.attr}"
        if isinstance(part, ast.ImportFrom):
            module = (part.module or "").removeprefix("circuit.")
            strange = {each.name for each in part.names} - IMPORTED.get(module, set())
            if module.partition(".")[0] == "stages":
                yield from (f"{name}:{part.lineno} imports {each} from {module}" for each in strange)


def test_no_module_outside_knows_a_template_a_role_or_a_law_s_parameter_by_name() -> None:
    assert [each for name, tree in modules() for each in breaches(name, tree)] == []


def test_every_exception_is_still_one() -> None:
    found = {
        (name, part.value) for name, tree in modules() for part in ast.walk(tree) if isinstance(part, ast.Constant)
    }
    assert set(MEANT_OTHERWISE) <= found
    touched = {
        (name, part.attr) for name, tree in modules() for part in ast.walk(tree) if isinstance(part, ast.Attribute)
    }
    assert {(name, attribute) for name, few in TOUCHED.items() for attribute in few} <= touched


@pytest.mark.parametrize(
    "text",
    [
        'loads = [stage.name for stage in amp.stages if kind == "load"]',
        '_PLUGGED = ("guitar", "generator")',
        "if stage.template == wanted: pass",
        'valve = dict(stage.roles)["valve_b"]',
        "from ..circuit.stages.power import LONG_TAILED_PAIR",
        "from .stages import networks",
        'bias = dict(valve.parameters)["perveance"]',
        'scales = {"kG1": -1.0}',
    ],
)
def test_a_breach_is_seen(text: str) -> None:
    assert list(breaches("studies/somewhere.py", ast.parse(text)))
