"""Whether what ampsim stands on is whole: packages, the ngspice library, compiled code; and how it is mended."""

from __future__ import annotations

import base64
import csv
import hashlib
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from ..base.errors import AmpsimError

FETCH = (sys.executable, "-m", "ampsim", "setup", "--fetch")
# pip writes these itself, and a clone that is moved rewrites them.
_WRITTEN_LATER = (".pth", "direct_url.json", "RECORD", "INSTALLER", "REQUESTED")


@dataclass(frozen=True)
class Fault:
    """Something that is not whole: what it is, what is wrong with it, and the command that mends it."""

    what: str
    wrong: str
    remedy: tuple[str, ...]
    folder: Path | None = None  # to be thrown away
    advice: str = ""  # what a person can do where no command mends it

    def __str__(self) -> str:
        """One line for a person."""
        words = [f"throw away {self.folder}"] if self.folder else []
        words += [" ".join(f'"{each}"' if " " in each else each for each in self.remedy)] if self.remedy else []
        return f"{self.what}: {self.wrong}; " + (f"this mends it: {', then '.join(words)}" if words else self.advice)


def needed_packages() -> dict[str, metadata.Distribution | None]:
    """What ampsim needs to be installed, directly or through others, by name; None for what is missing."""
    from packaging.requirements import Requirement
    from packaging.utils import canonicalize_name

    found: dict[str, metadata.Distribution | None] = {}
    left = ["ampsim"]
    while left:
        name = left.pop()
        if name in found:
            continue
        try:
            found[name] = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            found[name] = None
            continue
        for text in found[name].requires or []:  # type: ignore[union-attr]
            wanted = Requirement(text)
            if wanted.marker is None or wanted.marker.evaluate({"extra": ""}):
                left.append(canonicalize_name(wanted.name))
    return dict(sorted(found.items()))


def changed_files(package: metadata.Distribution) -> list[str]:
    """The files of an installed package that are missing or not as they were installed."""
    # Read here: the list that comes with the standard library, or what took its place, may leave out missing files.
    rows = csv.reader((package.read_text("RECORD") or "").splitlines())
    return [row[0] for row in rows if len(row) == 3 and _checked(*row[:2]) and not _whole(package, *row[:2])]


def _checked(name: str, seal: str) -> bool:
    # What lies outside, such as a script, names the place of its Python and changes with it.
    return bool(seal) and not name.startswith("..") and not name.endswith(_WRITTEN_LATER)


def _whole(package: metadata.Distribution, name: str, seal: str) -> bool:
    kind, _, value = seal.partition("=")
    try:
        content = Path(str(package.locate_file(name))).read_bytes()
    except OSError:
        return False
    digest = base64.urlsafe_b64encode(hashlib.new(kind, content).digest()).rstrip(b"=").decode()
    return digest == value


def package_faults() -> Iterator[Fault]:
    """Packages that are missing or damaged."""
    for name, package in needed_packages().items():
        if package is None:
            yield Fault(f"package {name}", "missing", _pip(name, ""))
        elif changed := changed_files(package):
            first = f"{len(changed)} of its files missing or damaged, the first {changed[0]}"
            yield Fault(f"package {name} {package.version}", first, _pip(name, package.version))


def _pip(name: str, version: str) -> tuple[str, ...]:
    wanted = f"{name}=={version}" if version else name
    return (sys.executable, "-m", "pip", "install", "--force-reinstall", "--no-deps", wanted)


def library_faults() -> Iterator[Fault]:
    """A libngspice that is missing, damaged, or gives a wrong answer to a circuit of two resistors."""
    from ..simulation.ngspice import fetching, library

    # Where AMPSIM_NGSPICE names a library, no other is looked for.
    can_fetch = fetching.source() and not library.chosen()
    remedy = FETCH if can_fetch else ()
    try:
        path = library.find()
    except AmpsimError as problem:
        advice = f"by hand: {library.by_hand()}; or set {library.SETTING} to the full path of one"
        if library.chosen():
            advice = library.remedy(Path(library.chosen()))
        yield Fault("ngspice", str(problem).split("; `ampsim setup`")[0], remedy, advice=advice)
        return
    if wrong := library_fault(path):
        yield Fault(f"ngspice library {path}", wrong, remedy, advice=library.remedy(path))


def library_fault(path: Path) -> str:
    """What is wrong with the ngspice library that is in use; "" when it is as it was fetched, and answers right."""
    from ..simulation.ngspice import fetching, library
    from ..simulation.ngspice.library_file import fault_of

    kept = next((each for each in path.parents if (each / fetching.SUMS).is_file()), None)
    if kept and (changed := fetching.changed_files(kept)):
        return f"not as it was fetched: {', '.join(changed)}"
    if wrong := fault_of(path):
        return wrong
    try:
        return _divider()
    except (AmpsimError, OSError) as problem:
        words = f"{problem}".splitlines()[0].removesuffix(f"; {library.remedy(path)}")
        return words.partition(f"{path} cannot be used: ")[2] or words


def _divider() -> str:
    """What is wrong with the answer to 3 V across 1 kohm and 2 kohm; "" when it is 2 V."""
    from ..simulation.netlist import Netlist
    from ..simulation.ngspice import engine
    from ..simulation.ngspice.protocol import Form

    text = ("two resistors\nv1 in 0 dc 3\nr1 in a 1000\nr2 a 0 2000\n.end\n",)
    (outcome,) = engine.run([Netlist(Form(text, (), "op", ("v(a)",), 1), ())])
    if isinstance(outcome, Exception):
        return str(outcome)
    volts = float(outcome.vectors["v(a)"][0])
    return "" if abs(volts - 2.0) < 1e-9 else f"gives {volts} V where 2 V are right"


def compiled_faults() -> Iterator[Fault]:
    """Compiled code that was cut short; it is thrown away and compiled anew at the next need."""
    from ..simulation.timestep.compiled import cache_folder

    folder = cache_folder()
    if folder is not None:
        # A whole pickle ends with its full stop.
        short = [each for each in folder.rglob("*.nb[ic]") if each.read_bytes()[-1:] != b"."]
        if short:
            yield Fault("compiled code", f"{len(short)} files cut short, the first {short[0].name}", (), folder)


def all_faults() -> Iterator[Fault]:
    """Everything that is not whole."""
    packages = list(package_faults())
    yield from packages
    # The others cannot be tried without the packages they stand on.
    if not packages:
        yield from library_faults()
        yield from compiled_faults()


def mend(fault: Fault) -> bool:
    """Carry out a fault's remedy, and tell whether it went well."""
    import shutil

    if fault.folder is not None:
        shutil.rmtree(fault.folder, ignore_errors=True)
    if not fault.remedy:
        return fault.folder is not None
    try:
        return subprocess.run(fault.remedy, stdin=subprocess.DEVNULL, check=False).returncode == 0
    except OSError as problem:
        print(f"{fault.remedy[0]}: {problem.strerror}", file=sys.stderr)
        return False


@dataclass(frozen=True)
class Licence:
    """A package that ampsim stands on, its version, and the licence it says it is under."""

    name: str
    version: str
    terms: str


def licences() -> list[Licence]:
    """The licences of all packages that ampsim needs, as they state them."""
    return [
        Licence(name, package.version, _terms(package))
        for name, package in needed_packages().items()
        if package is not None and name != "ampsim"
    ]


def _terms(package: metadata.Distribution) -> str:
    facts = package.metadata
    classified = [each.split(" :: ")[-1] for each in facts.get_all("Classifier") or [] if each.startswith("License ::")]
    expression, text = ((facts.get_all(name) or [""])[0] for name in ("License-Expression", "License"))
    stated = expression or ", ".join(classified) or text.strip()
    # Some put the whole text there.
    return stated.splitlines()[0][:80] if stated else "not stated"
