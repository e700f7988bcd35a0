"""Claims that ours does not meet, each with the reason found. A claim listed here that is met is an error too."""

from __future__ import annotations

_SAME_STAGE = (
    "R11 prints 14.5 for nearly the same stage at the same current: 14.5 squared is 210, and 14.5 times the gain of "
    "the split load, 0.86, is 12.5. The rows contradict each other if their circuits are read rightly, so these were "
    "left out of the fit"
)
_OTHER_LIMIT = (
    "read as the output at the start of grid current, as the table heads its column; R11 prints 28 V for the same "
    "stage under that heading, and ours has the printed distortion at the printed output: another limit must have "
    "set this figure, which the table does not name"
)
_LOW_SUPPLY = (
    "not fitted. At low supply voltage the law bends less than printed, although current, gain and the printed output "
    "agree; Koren's published 12AU7 in the same circuits falls short as well (R1 3.2, R6 4.1, R9 2.4 %)"
)
_CONTACT = (
    "hangs on where grid current begins (0.3 uA): ours at -0.66 V in every row, chosen with these; R15 and R16 imply "
    "-0.66 V, this row -0.76 V. Quoted from memory, and its distortion agrees"
)
_LITTLE_CURRENT = (
    "90 V through 510 kohm, 0.13 mA: the softer bend that the distortion of this maker's twelve stages asks for costs "
    "gain there, and where the next grid loads least it still is too little"
)
_BELOW = (
    "not fitted. Our lots have as much current at -2 and -3 V as their gm at 15 mA asks for, 8 to 10 % more than the "
    "measured medians, at the edge of what differs from lot to lot"
)
_WORN = "not fitted. The weakest of the measured sections is weaker than the tail that the lowest gm of P4 asks for"
_TRIODE = "median of measured samples against the sheet: the type keeps to the sheet, see F8 mu of the valve alone"
_SHORT_DROP = (
    "not fitted. The printed curve lies 27 V below the peak there; an integration apart from ampsim has 312 V too: a "
    "pulse of 105 mA drops 27 V in the valve by the sheet's own curve of one plate, and 13 V more in 125 ohm"
)
_PARTITION = (
    "two makers' 807 near cut-off: shares of 0.034 at 28 mA (VB4a) and 0.023 at 50 mA (VB16a). Ours falls to 0.046 and "
    "0.05, as the share that peaks at a drive in between, from rows that were fitted, has it; the curves at -10 V and "
    "above (VB23) are met"
)
_UNNAMED = (
    "not fitted. A measured set without imprint: its watts are 0.7 to 0.8 of ours where RCA's three pairs of the same "
    "valve (VB4b, VB6b, VB7b) are met, and of what gm 6 mA/V and 22 kohm make of the drive (6.9 W in VB10b); a "
    "transformer's loss of an eighth would explain half of it"
)
_DRIVEN_SCREEN = (
    "not fitted. The screen under full drive at the highest plate supply: RCA's own curves have 13.5 mA at 100 V and "
    "0 V, the end of its swing, and 1 mA at rest, from which no mean of 8 mA can come"
)
UNMET = {
    "VB4a screen current": _PARTITION,
    "VB16a screen current": _PARTITION,
    "GC6 gain": (
        "not fitted: 11 % low beside a limit of 7 %, at the largest current of the table, 2.2 mA. The sheet's own "
        "curve at -1 V has a plate resistance of 39 kohm between 2 and 3 mA (VAB4), which with its mu of 70 makes "
        "a gain of 33"
    ),
    "VB7b screen current": _DRIVEN_SCREEN,
    "VB10b output power": _UNNAMED,
    "VB12b output power": _UNNAMED,
    "VB12b second harmonic": _UNNAMED,
    "VB12b third harmonic": _UNNAMED,
    "VB16a plate current": (
        "not fitted. Two makers' 807: RCA prints 28 mA at 400 V, -30 V and 18 mA at 600 V, -34 V, from which 50 mA at "
        "500 V, -27 V would ask for a third more gm than RCA prints; the military window at one bias is 1 to 2"
    ),
    "V659a plate current": (
        "another maker's 6550-A at the knee: 345 mA, where the first maker's curves have 307 (V657a, within 1 %); one "
        "type for both lies between them elsewhere"
    ),
    "V662 plate current": (
        "not fitted. An older production of the KT66: V661 of the same sheet is 9 % above too, while the later sheet "
        "and nine measured specimens (V664, V668, V669) are met"
    ),
    "VL61 plate current": (
        "not fitted: the 12AX7's own system at a printed -1.9 V, a bias rounded to a tenth of a volt; at -2 V the same "
        "1.2 mA are met (T1), and 0.1 V is 14 % of them"
    ),
    "VSN6f plate current": (
        "not fitted. The same lot is 10 % below the Sylvania curves at 250 V, -4 V (VSN4c and VSN6e, 22 and 20 mA), "
        "and further at -6 V; at -12 V, near cut-off, it is met (VSN8e)"
    ),
    "RX10/20mA direct volts": _SHORT_DROP,
    "F8 plate current": (
        "median of 28 measured samples against the sheet: moved to 370 V, -32 V with its own gm and mu it gives 44 mA, "
        "where F2 prints 39.7; the fit keeps to the sheet"
    ),
    "S2 gm": (
        "contradicts R7, which at a lower current (1.63 mA) implies 1.0 mA/V, and S5 with 1.44 mA/V at 3.04 mA; "
        "rounded guide values, left out of the fit"
    ),
    "S2 rp": "as S2 gm: R7 implies 16 kohm at a lower current; rounded guide values, left out of the fit",
    "R13 gain": _SAME_STAGE,
    "R14 gain": _SAME_STAGE,
    "R13 output volts": _OTHER_LIMIT,
    "R14 output volts": _OTHER_LIMIT,
    "R1 distortion": _LOW_SUPPLY,
    "R6 distortion": _LOW_SUPPLY,
    "R9 distortion": _LOW_SUPPLY,
    "R9 output volts": (
        "hangs on where grid current begins (0.3 uA): ours at -0.37 V in every row, while R1 to R12 imply from -0.53 V "
        "(this row) to -0.09 V; with 1.3 V of bias those 0.16 V are a sixth of the swing"
    ),
    "R17 output volts": _CONTACT,
    "S3 gain": (
        "a builders' forum. Makers' tables of the same stage contradict it and each other: R15 and R16 are 4 % above "
        "ours, VAX3 7 % below"
    ),
    "VAX13 gain": _LITTLE_CURRENT,
    "VAX16 output volts at 5 % distortion": _LITTLE_CURRENT,
    "VAQ5b screen current": (
        "not fitted: mean screen current of a driven beam valve. G2b of another sheet, from memory, asks for as much "
        "more at the end of the swing as this row asks for less"
    ),
    "K17 gain": (
        "the book takes the law's parameter mu (100) for the slope of the curve; the same law's own slopes at that "
        "point give row K18, which a small-signal analysis must find and does"
    ),
    "K17 unbypassed": "as K17 gain: parameter mu taken for the slope; see row K18",
    "P5 plate mA at 90 V, -2 V of a lot, median": _BELOW,
    "P5 plate mA at 120 V, -3 V of a lot, median": _BELOW,
    "P5 plate mA at 90 V, -2 V of a lot, lowest": _WORN,
    "P5 plate mA at 120 V, -3 V of a lot, lowest": _WORN,
    "F8 grid volts of a lot, median": _TRIODE,
    "F8 mu of a lot, median": _TRIODE,
    "F8 mu of a lot, highest": _TRIODE,
}
