"""A netlist as KiCad's schematic editor writes it, made of parts and nets."""

from __future__ import annotations

from collections.abc import Mapping

Part = tuple[str, str, dict[str, tuple[str, str]]]
"""Value, symbol, and to each pin's number its name and its net."""

PARTS: dict[str, Part] = {
    "J1": ("Jack", "AudioJack2", {"1": ("T", "/in"), "2": ("S", "GND")}),
    "R1": ("1M", "R", {"1": ("", "/in"), "2": ("", "GND")}),
    "R2": ("68k", "R", {"1": ("", "/in"), "2": ("", "Net-(V1A-G)")}),
    "V1": ("ECC83", "ECC83", {
        "1": ("A", "/a1"), "2": ("G", "Net-(V1A-G)"), "3": ("K", "/k1"), "4": ("F1", "/h1"), "5": ("F1", "/h1"),
        "6": ("A", "/a2"), "7": ("G", "Net-(RV1-Pad2)"), "8": ("K", "/k2"), "9": ("F2", "/h2"),
    }),
    "R3": ("100k 1W", "R", {"1": ("", "+300V"), "2": ("", "/a1")}),
    "R4": ("1k5", "R", {"1": ("", "/k1"), "2": ("", "GND")}),
    "C1": ("22u/63V", "C_Polarized", {"1": ("", "/k1"), "2": ("", "GND")}),
    "C2": ("22n", "C", {"1": ("", "/a1"), "2": ("", "/vol")}),
    "RV1": ("A1M", "R_Potentiometer", {"3": ("3", "/vol"), "2": ("2", "Net-(RV1-Pad2)"), "1": ("1", "GND")}),
    "R5": ("100k", "R", {"1": ("", "+300V"), "2": ("", "/a2")}),
    "R6": ("1k5", "R", {"1": ("", "/k2"), "2": ("", "GND")}),
    "C3": ("22n", "C", {"1": ("", "/a2"), "2": ("", "/g3")}),
    "R7": ("470k", "R", {"1": ("", "/g3"), "2": ("", "GND")}),
    "V2": ("EL84", "EL84", {
        "2": ("G1", "/g3"), "3": ("K", "/k3"), "4": ("F", "/h1"), "5": ("F", "/h2"), "7": ("A", "/a3"),
        "9": ("G2", "+300V"),
    }),
    "R8": ("150", "R", {"1": ("", "/k3"), "2": ("", "GND")}),
    "F1": ("500mA", "Fuse", {"1": ("", "+300V"), "2": ("", "/ht")}),
    "T1": ("5k2:8", "Transformer_SP_1S", {
        "1": ("PR1", "/a3"), "3": ("PR2", "/ht"), "4": ("S1", "/spk"), "5": ("S2", "GND"),
    }),
    "LS1": ("8", "Speaker", {"1": ("1", "/spk"), "2": ("2", "GND")}),
}  # fmt: skip


def kicad_text(parts: Mapping[str, Part]) -> str:
    """The text, its components and nets in the order given."""
    comps = "\n".join(
        f'    (comp (ref "{ref}")\n      (value "{value}")\n      (footprint "x:y")\n'
        f'      (libsource (lib "Device") (part "{symbol}") (description "a \\"part\\" (of a kind)")))'
        for ref, (value, symbol, _) in parts.items()
    )
    nets: dict[str, list[str]] = {}
    for ref, (_, _, pins) in parts.items():
        for number, (name, net) in pins.items():
            function = f' (pinfunction "{name}")' if name else ""
            nets.setdefault(net, []).append(f'(node (ref "{ref}") (pin "{number}"){function} (pintype "passive"))')
    listed = "\n".join(
        f'    (net (code "{code}") (name "{net}")\n      ' + "\n      ".join(nodes) + ")"
        for code, (net, nodes) in enumerate(nets.items(), 1)
    )
    return f'(export (version "E")\n  (design (source "x.kicad_sch"))\n  (components\n{comps})\n  (nets\n{listed}))\n'
