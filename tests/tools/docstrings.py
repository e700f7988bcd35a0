"""What docstrings of public functions must say, and which do not: `python -m tests.tools.docstrings [PACKAGE ...]`.

A public function (of a module or of a public class) with four parameters or more has a Parameters section that names
each; one that raises has a Raises section; one that takes or gives floating-point numbers says a unit in square
brackets, such as [V], [Hz] or [ratio].
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[2] / "ampsim"
MANY = 4
_NUMBERS = re.compile(r"\bfloat\b|\bcomplex\b|\bArray\b|NDArray\[np\.(float|complex)|DataArray")
# A position's settings (rotation or switch label), and timings of a process, carry no unit of the circuit.
_NO_UNIT = re.compile(r"float \| str|str \| float")
_UNIT = re.compile(r"\[[^\[\]]+\]")

Function = ast.FunctionDef | ast.AsyncFunctionDef


def public_functions(tree: ast.Module) -> Iterator[tuple[str, Function, bool]]:
    """Name, node and whether it is a method, of every public function of a module."""
    for node in tree.body:
        if isinstance(node, Function) and not node.name.startswith("_"):
            yield node.name, node, False
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for inner in node.body:
                if isinstance(inner, Function) and not inner.name.startswith("_"):
                    yield f"{node.name}.{inner.name}", inner, True


def faults(path: Path) -> Iterator[str]:
    """What the docstrings of one file lack, a line each."""
    for name, node, method in public_functions(ast.parse(path.read_text("utf-8"))):
        text = ast.get_docstring(node) or ""
        given = [each.arg for each in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
        given = given[1:] if method and given[:1] in (["self"], ["cls"]) else given
        place = f"{path.relative_to(PACKAGE.parent)}:{node.lineno} {name}"
        if len(given) >= MANY:
            section = _section(text, "Parameters")
            missing = [each for each in given if not re.search(rf"^[\w, *]*\b{each}\b", section, re.MULTILINE)]
            if missing:
                yield f"{place}: Parameters lacks {', '.join(missing)}"
        if any(True for _ in _raised(node)) and not _section(text, "Raises"):
            yield f"{place}: no Raises section"
        if _has_numbers(node) and not _UNIT.search(text):
            yield f"{place}: no unit in brackets"


def _section(text: str, title: str) -> str:
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", text, re.MULTILINE | re.DOTALL)
    return found[1] if found else ""


def _raised(node: ast.AST) -> Iterator[ast.Raise]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Raise) and child.exc is not None:
            yield child
        if not isinstance(child, (*Function.__args__, ast.ClassDef, ast.Lambda)):
            yield from _raised(child)


def _has_numbers(node: Function) -> bool:
    given = [each.annotation for each in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    texts = [ast.unparse(each) for each in (*given, node.returns) if each is not None]
    return any(_NUMBERS.search(_NO_UNIT.sub("", text)) for text in texts)


def all_faults(packages: list[str]) -> list[str]:
    """What is lacking in some packages of ampsim (none named: in all)."""
    places = [PACKAGE / name for name in packages] or [PACKAGE]
    return [fault for place in places for path in sorted(place.rglob("*.py")) for fault in faults(path)]


def main() -> int:
    """Print every fault; the exit status is 1 when there are any."""
    found = all_faults(sys.argv[1:])
    print("\n".join([*found, f"{len(found)} faults"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
