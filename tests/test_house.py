"""House rules that hold for every file: style, types, one direction of imports, nothing left lying about."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from graphlib import TopologicalSorter
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.conftest import LONGEST
from tests.tools.docstrings import all_faults

# A package imports only from those before it.
ORDER = (
    "base",
    "circuit",
    "simulation",
    "measures",
    "pictures",
    "studies",
    "library",
    "bench",
    "work",
    "audio",
    "job",
    "interface",
)
ENDS = ("__init__", "__main__")  # these two may import from everywhere
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "ampsim", "notebooks", "models", "tests"}
HEAVY = ("numpy", "scipy", "matplotlib", "xarray", "pandas", "PySpice", "numba")

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "ampsim"
MODULES = sorted(PACKAGE.rglob("*.py"))


def checked(*arguments: str) -> None:
    """Run a Python module in the repository and fail with what it says."""
    command = [sys.executable, "-m", *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def tracked_files() -> list[Path]:
    """Return the files of the repository; owned by another user or not."""
    command = ["git", "-c", f"safe.directory={ROOT}", "ls-files", "-z"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    return [Path(name) for name in done.stdout.split("\0") if name]


@cache
def import_nodes(path: Path) -> tuple[ast.Import | ast.ImportFrom, ...]:
    """Return where a file imports."""
    nodes = ast.walk(ast.parse(path.read_text("utf-8")))
    return tuple(node for node in nodes if isinstance(node, (ast.Import, ast.ImportFrom)))


def imported(path: Path) -> Iterator[tuple[str, ...]]:
    """Yield what a module of the package imports, as dotted names cut at the dots, from the package down."""
    here = ("ampsim", *path.relative_to(PACKAGE).with_suffix("").parts)
    for node in import_nodes(path):
        if isinstance(node, ast.Import):
            yield from (tuple(alias.name.split(".")) for alias in node.names)
        else:
            base = here[: len(here) - node.level] if node.level else ()
            module = tuple(node.module.split(".")) if node.module else ()
            yield from ((*base, *module, alias.name) for alias in node.names)


def module_name(path: Path) -> str:
    """Return the dotted name of a module."""
    parts = ("ampsim", *path.relative_to(PACKAGE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def longest_of(files: Mapping[str, Path], names: tuple[str, ...]) -> str:
    """Return the file that an import means: a module of that name, or the one that holds the name."""
    whole = ".".join(names)
    return next((each for each in (whole, ".".join(names[:-1])) if each in files), "")


def place(path: Path) -> str:
    """Return the entry of ORDER that a module belongs to."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def test_ruff() -> None:
    checked("ruff", "check", "--no-cache", ".")


def test_ruff_format() -> None:
    checked("ruff", "format", "--no-cache", "--check", "--diff", ".")


def test_mypy() -> None:
    checked("mypy")


def modules_named(path: Path) -> set[str]:
    """The modules outside the package that a file imports from."""
    nodes = import_nodes(path)
    plain = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    return plain | {str(node.module) for node in nodes if isinstance(node, ast.ImportFrom) and not node.level}


def test_what_is_used_is_there_on_every_system(tmp_path: Path) -> None:
    """What mypy finds wrong on one system and not on another, in the files where there can be such a thing.

    Those are the files that import a module of the standard library which is not the same everywhere. Everything else
    is left out, for it would cost as much again as the whole check: what follows from that is wrong on all systems.
    """
    stubs = Path(str(find_spec("mypy").origin)).parent / "typeshed" / "stdlib"  # type: ignore[union-attr]
    unlike = {
        ".".join(path.relative_to(stubs).with_suffix("").parts).removesuffix(".__init__")
        for path in stubs.rglob("*.pyi")
        if "sys.platform" in path.read_text("utf-8")
    }
    probe, settings = tmp_path / "probe.py", tmp_path / "mypy.ini"
    probe.write_text("import os\nimport msvcrt\n\nos.fork()\nmsvcrt.getch()\n", "utf-8")
    used = {path: modules_named(path) for path in MODULES}
    files = [str(path) for path, names in used.items() if names & unlike] + [str(probe)]
    others = {name.split(".")[0] for names in used.values() for name in names} - set(sys.stdlib_module_names)
    skipped = "follow_imports = skip\nfollow_imports_for_stubs = True\n"
    head = "[mypy]\nfollow_imports = skip\nignore_missing_imports = True\n"
    settings.write_text(head + "".join(f"[mypy-{name}.*]\n{skipped}" for name in sorted(others)), "utf-8")
    found: dict[str, set[str]] = {}
    for platform in ("linux", "win32", "darwin"):
        command = [
            sys.executable,
            "-m",
            "mypy",
            f"--config-file={settings}",
            "--no-incremental",
            "--platform",
            platform,
        ]
        done = subprocess.run([*command, *files], cwd=ROOT, capture_output=True, encoding="utf-8", check=False)
        assert done.stderr == ""
        found[platform] = {line for line in done.stdout.splitlines() if ": error: " in line}
    here_or_there = set.union(*found.values()) - set.intersection(*found.values())
    known = {line for line in here_or_there if "probe.py:" in line}
    # The probe shows that the check can fail.
    assert sorted(line.split("probe.py:")[1].split(":")[0] for line in known) == ["4", "5"]
    assert here_or_there == known


def encoding_is_open(call: ast.Call) -> bool:
    """Whether a call reads or writes text in whatever encoding the system prefers."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    named = {each.arg: each.value for each in call.keywords}
    if "encoding" in named or None in named or any(isinstance(each, ast.Starred) for each in call.args):
        return False  # or it cannot be seen
    if name in ("read_text", "write_text"):
        return len(call.args) < (1 if name == "read_text" else 2)
    if name in ("open", "fdopen", "TemporaryFile", "NamedTemporaryFile", "TextIOWrapper"):
        texts = [each.value for each in [*call.args, *named.values()] if isinstance(each, ast.Constant)]
        modes = [each for each in texts if isinstance(each, str) and re.fullmatch(r"[rwaxbt+]{1,3}", each)]
        plain = isinstance(call.func, ast.Name) and name == "open"
        return not any("b" in mode for mode in modes) and (bool(modes) or plain or name == "TextIOWrapper")
    return bool({"text", "universal_newlines"} & set(named)) and name in ("run", "Popen", "check_output")


@pytest.mark.parametrize(("text", "is_open"), [
    ("p.read_text()", True), ("p.read_text('utf-8')", False), ("p.write_text(x)", True),
    ("p.write_text(x, encoding='utf-8')", False), ("open(p)", True), ("open(p, 'rb')", False), ("p.open('w')", True),
    ("os.open(p, os.O_RDONLY)", False), ("open(p, 'w', encoding='utf-8')", False), ("Image.open(p)", False),
    ("subprocess.run(c, text=True)", True), ("subprocess.Popen(c, encoding='utf-8', text=True)", False),
    ("TextIOWrapper(b)", True), ("tempfile.TemporaryFile()", False), ("TemporaryFile('w')", True),
])  # fmt: skip
def test_calls_without_an_encoding_are_known(text: str, is_open: bool) -> None:
    assert encoding_is_open(ast.parse(text).body[0].value) == is_open  # type: ignore[attr-defined]


def test_texts_are_utf_8_on_every_system() -> None:
    files = [path for path in tracked_files() if path.suffix == ".py" and (ROOT / path).is_file()]
    words = re.compile(r"open\(|read_text\(|write_text\(|text=|universal_newlines|TextIOWrapper|TemporaryFile")
    texts = {path: (ROOT / path).read_text("utf-8") for path in files}
    trees = {path: ast.walk(ast.parse(text)) for path, text in texts.items() if words.search(text)}
    calls = [(path, each) for path, nodes in trees.items() for each in nodes if isinstance(each, ast.Call)]
    assert [f"{path}:{call.lineno}" for path, call in calls if encoding_is_open(call)] == []


def test_the_packages_are_those_in_the_order() -> None:
    entries = {path.name.removesuffix(".py") for path in PACKAGE.iterdir() if not path.name.startswith(("__py", "."))}
    assert entries - {*ENDS, "py.typed", "LICENSE"} == set(ORDER)
    assert len(ORDER) <= 14


def test_imports_go_one_way() -> None:
    below = {}
    for path in (each for each in MODULES if place(each) not in ENDS):
        allowed = {*ORDER[: ORDER.index(place(path))], place(path), "__version__"}
        below[path] = {names[1] for names in imported(path) if names[0] == "ampsim"} - allowed
    assert len(below) > 500
    assert {str(path.relative_to(ROOT)): sorted(names) for path, names in below.items() if names} == {}


def test_few_arrows_between_packages() -> None:
    arrows = {(place(path), names[1]) for path in MODULES for names in imported(path) if names[:1] == ("ampsim",)}
    between = {(one, other) for one, other in arrows if one != other and {one, other} <= set(ORDER)}
    assert len(between) <= 60


def test_no_files_import_in_a_circle() -> None:
    files = {module_name(path): path for path in MODULES}
    uses = {
        name: {used for names in imported(path) if (used := longest_of(files, names)) and used != name}
        for name, path in files.items()
    }
    # Raises CycleError, with the circle.
    assert len(list(TopologicalSorter(uses).static_order())) == len(files)


@pytest.mark.parametrize("package", ORDER)
def test_a_package_says_its_question_what_it_imports_and_where_to_begin(package: str) -> None:
    text = ast.get_docstring(ast.parse((PACKAGE / package / "__init__.py").read_text("utf-8"))) or ""
    assert "Begin reading with `" in text
    if "imports everything" in text:
        return
    stated = re.search(r"It imports ([\w, \n]+?)\.", text)
    assert stated, text
    said = set(re.findall(r"\w+", stated[1])) & set(ORDER)
    used = {names[1] for path in MODULES if place(path) == package for names in imported(path) if len(names) > 1}
    assert used & set(ORDER) - {package} == said


def test_the_package_imports_itself_relatively() -> None:
    plain = {str(path.relative_to(ROOT)): modules_named(path) for path in MODULES}
    assert [path for path, names in plain.items() if "ampsim" in {name.split(".")[0] for name in names}] == []


def test_import_is_light() -> None:
    ask = f"import sys, ampsim; print([name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", ask], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"


def test_topics_load_what_is_compiled_and_scipy_only_where_they_use_it() -> None:
    ask = "import sys, ampsim.studies.sheet.sheet, ampsim.job.papers.exercise; "
    ask += (
        "print([name for name in ('numba', 'scipy.special', 'scipy.linalg', 'scipy.optimize') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", ask], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"


def test_a_sheet_that_was_kept_is_told_without_what_draws() -> None:
    ask = "import sys, ampsim.studies.sheet.page, ampsim.interface.commands.consequences; "
    ask += "print([name for name in ('matplotlib', 'PIL', 'scipy', 'numba') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", ask], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"


def test_files_stay_short() -> None:
    long = {str(path.relative_to(ROOT)): len(path.read_text("utf-8").splitlines()) for path in MODULES}
    assert not {name: lines for name, lines in long.items() if lines > 300}


def test_docstrings_name_parameters_errors_and_units() -> None:
    assert all_faults([]) == []


def test_nothing_is_left_to_do() -> None:
    marks = ("TO" + "DO", "FIX" + "ME", "XX" + "X")
    kinds = {".py", ".md", ".toml", ".ipynb"}
    files = [path for path in tracked_files() if path.suffix in kinds and (ROOT / path).is_file()]
    assert files
    texts = {path: (ROOT / path).read_text("utf-8") for path in files}
    # Pictures stored in notebooks are long runs of letters in which every mark turns up by chance.
    bare = {path: re.sub(r'"image/png": "[^"]*"', "", text) for path, text in texts.items()}
    left = [(str(path), mark) for path, text in bare.items() for mark in marks if mark in text]
    assert left == []


def test_files_that_go_first_are_there() -> None:
    assert [name for name in LONGEST if not any((folder / name).is_file() for folder in (ROOT, ROOT / "tests"))] == []


def test_top_level_entries() -> None:
    visible = {path.parts[0] for path in tracked_files() if not path.parts[0].startswith(".")}
    assert visible - TOP_LEVEL == set()
