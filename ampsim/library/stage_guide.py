"""What an amp file may hold: every stage template with its roles, and an example of each that runs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ..base.errors import DescriptionError, nearest, shown
from ..base.tables import text_of_rows
from ..circuit.stages import TEMPLATES, Template
from .files import models


def stages_text() -> str:
    """Every template in a line: its name, and what it is."""
    width = max(map(len, TEMPLATES))
    return "\n".join(f"{name:<{width}}  {template.about}" for name, template in TEMPLATES.items())


def find_template(name: str) -> Template:
    """The template of a name; blanks may be written as hyphens.

    Raises
    ------
    DescriptionError
        When there is none, with the nearest.
    """
    known = {each.replace(" ", "-"): each for each in TEMPLATES}
    wanted = known.get(name.strip().lower().replace(" ", "-"))
    if wanted is None:
        raise DescriptionError(f"{shown(name)} is no stage template{nearest(name, TEMPLATES)}")
    return TEMPLATES[wanted]


def example_file(template: Template) -> Path:
    """An amp file that is an example of a template."""
    return models() / "stages" / f"{template.name.replace(' ', '-')}.toml"


def further_examples(template: Template) -> list[Path]:
    """Amp files with other ways to use a template, named after it and the way."""
    return sorted((models() / "stages").glob(f"{template.name.replace(' ', '-')}.*.toml"))


def stage_text(template: Template) -> str:
    """A template with its roles, which of them are needed, and its example as an amp file.

    Raises
    ------
    DescriptionError
        When its example is missing.
    """
    path = example_file(template)
    if not path.is_file():
        raise DescriptionError(f"{path}: the example of the template {shown(template.name)} is missing")
    lines = {
        0: "begins the signal, or needs none",
        1: "one signal line: that of the stage before, or the one it names as input",
        2: 'two lines, as a phase inverter hands on, or several: input = ["one stage", "another"]',
    }
    head = f'template = "{template.name}"\n{template.about}\ntakes in: {lines[min(template.inputs, 2)]}'
    roles = text_of_rows(("role", "", "what", "kind"), list(_roles(template)))
    text = f"{head}\n\n{roles}\n\nAn example that runs ({path.name})\n\n{path.read_text(encoding='utf-8').rstrip()}"
    further = further_examples(template)
    if not further:
        return text
    ways = "\n".join(f"  {each.relative_to(models().parent)}" for each in further)
    return f"{text}\n\nFurther examples, which `ampsim show` explains\n{ways}"


def _roles(template: Template) -> Iterator[tuple[str, str, str, str]]:
    # What is needed stands first.
    for name, role in sorted(template.roles.items(), key=lambda each: not each[1].required):
        yield name, "needed" if role.required else "", role.about, " or ".join(role.kinds)
