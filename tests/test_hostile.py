"""No file of another's making runs a command, reads or writes a file, or ends in anything but a message."""

from __future__ import annotations

import copy
import itertools
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ampsim.base.errors import AmpsimError, EngineError
from ampsim.circuit.amp import Amp, Mod
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_position
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.spice import subcircuit
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_audition, load_mod, load_valve
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from ampsim.simulation.ngspice.library import find
from ampsim.simulation.ngspice.protocol import Form
from ampsim.simulation.stimuli import Burst, Sine, Waveform
from tests.tools import hostile
from tests.tools.systems import needs_pipes

ROOT = Path(__file__).resolve().parent.parent
COUNT = 10_000
TRAP = "* trap\n.control\nshell echo read > {mark}\n.endc\n"

# What this process does while it is watched: files opened, programs started and the like, as (event, first argument).
_events: list[tuple[str, object]] = []
_watching = False
_HARMFUL = ("open", "os.", "subprocess.", "shutil.", "socket.", "ctypes.dlopen", "pty.", "webbrowser.")


def _note(event: str, arguments: tuple[Any, ...]) -> None:
    if _watching and event.startswith(_HARMFUL):
        _events.append((event, arguments[0] if arguments else None))


sys.addaudithook(_note)


@pytest.fixture
def watched() -> Iterator[list[tuple[str, object]]]:
    """What this process does meanwhile, but for reading models and Python's own modules."""
    global _watching
    _events.clear()
    _watching = True
    own = [str(models()), str(ROOT / "ampsim"), *set(sysconfig.get_paths().values())]
    found: list[tuple[str, object]] = []
    try:
        yield found
    finally:
        _watching = False
        reads = ("open", "os.listdir", "os.scandir")
        found += [
            (event, what)
            for event, what in _events
            if not (event in reads and any(str(what).startswith(place) for place in own))
        ]


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder with a short path, a trap in it and nothing else; nothing may have been added in the end."""
    made = Path(tempfile.mkdtemp(prefix="h"))
    (made / "trap").write_text(TRAP.format(mark=made / "sprung"), "utf-8")
    yield made
    left = sorted(path.name for path in made.iterdir() if path.name not in ("trap", "files"))
    shutil.rmtree(made)
    assert left == [], "marks left by the strings of these numbers"


@pytest.fixture(scope="module")
def amps() -> tuple[Amp, ...]:
    return load_amp("workshop-a"), load_amp("workshop-b")


def attempt(call: Callable[[], Any]) -> Any:
    """The answer, or the message of a refusal; any other error is the test's failure."""
    try:
        return call()
    except AmpsimError as refusal:
        text = str(refusal)
        assert text
        assert len(text) < 1500, text[:200]
        assert all(letter.isprintable() or letter == "\n" for letter in text), ascii(text)
        assert "\n" not in text, f"a message of several lines can pretend to be another: {text!r}"
        return None


def read(case: hostile.Case) -> Any:
    """What an accepted file means; None for a refused one."""
    return attempt(lambda: hostile.parse(case))


def harmless(case: hostile.Case, netlist: Netlist) -> None:
    assert hostile.strange_line(netlist.text) is None, (case.kind, case.place, ascii(case.text)[:200])
    assert not hostile.strange_command(netlist.form.command)
    if case.telling:
        assert case.text not in netlist.text
        assert not any(case.text in vector for vector in netlist.form.vectors)


def test_the_grammar_of_netlists_takes_ours_and_no_other(amps: tuple[Amp, ...]) -> None:
    for amp, analysis in itertools.product(amps, hostile.ANALYSES):
        text = build(amp, {}, analysis, ("speaker",), True).text
        assert hostile.strange_line(text) is None
        lines = text.split("\n")
        for strange in (
            "*# shell x",
            ".control",
            ".include x",
            "r1 a 0 `x`",
            "r1 a 0 1k",
            "r1 a 0 1.0; x",
            "v1 a 0 1",
            "b1 a 0 v=1",
        ):
            for at in (1, 2, len(lines) // 2, len(lines) - 2):
                assert hostile.strange_line("\n".join([*lines[:at], strange, *lines[at:]])) is not None
        for sign in "\r\x0b\x0c\x00\u2028\u0085`;$#":
            assert hostile.strange_line(text.replace(" 0 ", f" 0{sign} ", 1)) is not None
            assert hostile.strange_line(text[: len(text) // 2] + sign + text[len(text) // 2 :]) is not None


def test_ten_thousand_strings_in_every_text_of_every_file(
    folder: Path, watched: list[tuple[str, object]], amps: tuple[Amp, ...]
) -> None:
    healthy = copy.deepcopy(hostile.originals())
    seen: Counter[tuple[str, bool]] = Counter()
    places: set[tuple[str, hostile.Place]] = set()
    texts: set[str] = set()
    for case in hostile.cases(COUNT, folder):
        made = read(case)
        seen[case.kind, made is not None] += 1
        places.add((case.kind, case.place))
        texts.add(case.text)
        for netlist in hostile.netlists(made, amps) if made is not None else ():
            harmless(case, netlist)
    assert hostile.originals() == healthy, "reading a file changed its tables"
    assert len(texts) == COUNT
    assert places == {(kind, place) for kind, tables in hostile.originals() for place in hostile.places(tables)}
    # Some must get through, or nothing was shown of what a netlist is made of.
    assert all(seen[kind, True] >= 20 for kind in ("amp", "mod", "valve")), seen
    assert watched == []


def test_anything_else_where_a_text_belongs(watched: list[tuple[str, object]], amps: tuple[Amp, ...]) -> None:
    for case in hostile.things():
        made = read(case)
        for netlist in hostile.netlists(made, amps) if made is not None else ():
            harmless(case, netlist)
    assert watched == []


LOADERS: dict[str, Callable[[str | Path], Any]] = {
    "amp": load_amp, "mod": load_mod, "valve": load_valve, "job": load_audition,
}  # fmt: skip


def test_hostile_files_on_disk(folder: Path, watched: list[tuple[str, object]], amps: tuple[Amp, ...]) -> None:
    (folder / "files").mkdir()
    tried: Counter[str] = Counter()
    for number, case in enumerate(hostile.cases(COUNT, folder, seed=3)):
        # Jobs are read from disk only, and name further files: all of them; of the others every eighth.
        if case.kind != "job" and number % 8:
            continue
        path = folder / "files" / f"{number}.toml"
        try:
            path.write_text(hostile.toml(case.tables), "utf-8")
        except ValueError:
            continue
        tried[case.kind] += 1
        made = attempt(lambda kind=case.kind, path=path: LOADERS[kind](path))
        if isinstance(made, (Amp, Mod, Valve)):
            for netlist in itertools.islice(hostile.netlists(made, amps), 3):
                harmless(case, netlist)
    assert min(tried[kind] for kind in LOADERS) >= 100, tried
    roaming = [what for event, what in watched if event == "open" and not str(what).startswith(str(folder / "files"))]
    assert roaming == []


@pytest.mark.parametrize("kind", LOADERS)
def test_files_that_are_no_tables(folder: Path, kind: str) -> None:
    (folder / "files").mkdir()
    for number, content in enumerate(hostile.RAW_FILES):
        path = folder / "files" / f"{number}.toml"
        path.write_bytes(content)
        assert attempt(lambda path=path: LOADERS[kind](path)) is None, content[:60]


@pytest.mark.parametrize("kind", LOADERS)
def test_names_that_are_no_files(folder: Path, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    for name in hostile.FILE_NAMES:
        assert attempt(lambda name=name: LOADERS[kind](name)) is None, name[:60]


@needs_pipes
@pytest.mark.parametrize("kind", LOADERS)
def test_endless_files_are_refused(folder: Path, kind: str) -> None:
    (folder / "files").mkdir()
    endless = folder / "files" / "endless.toml"
    endless.symlink_to("/dev/zero")
    assert attempt(lambda: LOADERS[kind](endless)) is None
    os.mkfifo(folder / "files" / "pipe.toml")
    assert attempt(lambda: LOADERS[kind](folder / "files" / "pipe.toml")) is None


def requests(amp: Amp, text: str) -> Iterator[Callable[[], Any]]:
    """Every way to hand a text to a simulation other than by a file."""
    rest = OperatingPoint()
    yield lambda: build(amp, {text: 0.5}, rest, ("speaker",))
    yield lambda: build(amp, {"gain": text}, rest, ("speaker",))
    yield lambda: build(amp, {"bright": text}, rest, ("speaker",))
    yield lambda: build(amp, {}, rest, (text,))
    yield lambda: build(amp, {}, rest, ("speaker", f"R1.{text}"))
    yield lambda: every_position(amp, text)
    for field in ("start", "stop", "per_decade"):
        yield lambda field=field: build(amp, {}, FrequencySweep(**{field: text}), ("speaker",))
    for field in ("frequency", "level", "settle", "cycles"):
        yield lambda field=field: build(amp, {}, Transient(Sine(**{field: text})), ("speaker",))
    for field in ("frequency", "level", "start", "stop", "duration"):
        yield lambda field=field: build(amp, {}, Transient(Burst(**{field: text})), ("speaker",))
    yield lambda: build(amp, {}, Transient(step=text), ("speaker",))  # type: ignore[arg-type]
    yield lambda: build(amp, {}, Transient(Waveform((0.0, text))), ("speaker",))  # type: ignore[arg-type]
    yield lambda: build(amp, {}, Transient(Waveform((0.0, 1.0), text)), ("speaker",))  # type: ignore[arg-type]


def test_hostile_requests(folder: Path, watched: list[tuple[str, object]]) -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"))
    for number in range(300):
        text = hostile.string(number, folder, "R1.1")
        case = hostile.Case("request", (), text, {})
        for request in requests(amp, text):
            made = attempt(request)
            if isinstance(made, Netlist):
                harmless(case, made)
    assert watched == []


# With ngspice ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "hole",
    [".control\nshell echo x > {mark}\n.endc", "*# shell echo x > {mark}", "r2 a 0 1k\r*# shell echo x > {mark}",
     ".include {trap}",
     ".control\nop\nprint all > {mark}\n.endc"],
)  # fmt: skip
def test_the_marks_do_show_in_a_netlist_that_was_not_checked(tmp_path: Path, hole: str) -> None:
    mark = tmp_path / "mark"
    (tmp_path / "trap").write_text(TRAP.format(mark=mark.as_posix()), "utf-8")
    hole = hole.format(mark=mark.as_posix(), trap=(tmp_path / "trap").as_posix())
    text = f"unchecked\nv1 a 0 1\nr1 a 0 1k\n{hole}\n.end\n"
    assert hostile.strange_line(text) is not None
    engine.run([Netlist(Form((text,), (), "op", ("v(a)",), 1), ())], workers=1)
    assert mark.exists()


def test_accepted_files_through_ngspice(folder: Path, amps: tuple[Amp, ...]) -> None:
    accepted: list[Netlist] = []
    for case in hostile.cases(COUNT, folder, seed=5):
        if len(accepted) >= 60:
            break
        if case.telling and (made := read(case)) is not None:
            accepted += itertools.islice(hostile.netlists(made, amps), 1)
    outcomes = engine.run(accepted)
    assert len(outcomes) >= 50
    assert all(isinstance(outcome, (Arrays, EngineError)) for outcome in outcomes)
    assert sum(isinstance(outcome, Arrays) for outcome in outcomes) >= 40


SCRIPT = """
from ampsim.simulation.analyses import OperatingPoint
from ampsim.library.loader import load_amp
from ampsim.simulation.response import simulate
print(simulate(load_amp("workshop-b"), OperatingPoint(), workers=1)["voltage"].size)
"""


def test_start_files_beside_an_amp_are_not_run(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    for name in (".spiceinit", "spice.rc", "spinit", "sitecustomize.txt"):
        (tmp_path / name).write_text(f"* start file\necho read > {mark.as_posix()}\n", "utf-8")
    shutil.copy(models() / "amps" / "workshop-b.toml", tmp_path)
    surroundings = os.environ | {"HOME": str(tmp_path), "USERPROFILE": str(tmp_path)}
    bare = (
        "import pathlib, sys; from ampsim.simulation.ngspice.library import preload; "
        "preload(pathlib.Path(sys.argv[1])); "
        "from PySpice.Spice.NgSpice.Shared import NgSpiceShared as S; S.LIBRARY_PATH = sys.argv[1]; S()"
    )
    subprocess.run([sys.executable, "-c", bare, str(find())], cwd=tmp_path, env=surroundings, check=False)
    assert mark.exists(), "the trap does not work, so the check below would prove nothing"
    mark.unlink()
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT], cwd=tmp_path, env=surroundings | {"PYTHONPATH": str(ROOT)},
        capture_output=True, encoding="utf-8", check=True,
    )  # fmt: skip
    assert int(done.stdout) > 5
    assert not mark.exists()


def test_no_subcircuit_holds_what_a_valve_file_says_in_words(folder: Path) -> None:
    words = ("source", "basis", "flag", "id")
    for case in hostile.cases(3000, folder, seed=4):
        if case.kind == "valve" and case.telling and any(word in case.place for word in words):
            made = read(case)
            if made is not None:
                assert case.text not in subcircuit(made)
