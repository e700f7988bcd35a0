"""What a search found, as plain text."""

from __future__ import annotations

import pandas as pd

from ...base.tables import text_table
from ...base.wording import minus
from .result import CHECK_DB, RANKING, Candidate, SearchResult, value_counts
from .wishes import Wish, value_text

_MOST_VALUES = 12


def find_text(found: SearchResult) -> str:
    """The outcome of a search: what was tried, wishes, the best sets or the nearest misses, the spread of values."""
    wanted = found.wanted
    title = f"{wanted.name}: {wanted.base.name}"
    wishes = [f"  {number}  {wish.label}" for number, wish in enumerate(wanted.wishes, 1)]
    blocks = ["\n".join([title, *_count_lines(found)]), "\n".join(["Wishes", *wishes]), *_answers(found)]
    return "\n\n".join(block for block in blocks if block) + "\n"


def miss_words(found: SearchResult, candidate: Candidate) -> str:
    """Which wishes a candidate breaks and by how much: "wish 1 (...) by 0.5 dB and wish 3 (...) by 7.2 %"."""
    numbered = enumerate(zip(found.wanted.wishes, candidate.rooms, strict=True), 1)
    broken = [f"wish {n} ({wish.label}) by {-room:.2g} {wish.unit}" for n, (wish, room) in numbered if room < 0.0]
    return " and ".join(broken) or "no wish"


def best_table(found: SearchResult) -> pd.DataFrame:
    """The best sets: a column for each part, then for each wish what is reached, and the least room in steps.

    Columns: designators; "wish 1 [dB]", ...; "least room [steps]" (1 dB, 10 %, 10 degrees each count as one).
    """
    rows = []
    for candidate in found.best:
        row = {each.part: value_text(each.kind, candidate.values[each.part]) for each in found.wanted.choices}
        for number, (wish, span) in enumerate(zip(found.wanted.wishes, candidate.reached, strict=True), 1):
            row[f"wish {number} [{wish.unit}]"] = _span(wish, span)
        pairs = zip(found.wanted.wishes, candidate.rooms, strict=True)
        rows.append({**row, "least room [steps]": min(room / wish.step for wish, room in pairs)})
    return pd.DataFrame(rows)


def _span(wish: Wish, span: tuple[float, float]) -> str:
    places = 0 if wish.unit in ("degrees", "V") else 2
    low, high = (f"{round(each, places) + 0.0:.{places}f}" for each in span)
    return minus(low if low == high else f"{low} to {high}")


def _count_lines(found: SearchResult) -> list[str]:
    unfit = int((~found.fits).sum())
    early = found.circuits - found.worked_out - unfit
    if found.stopped_after is not None:
        return [
            f"Stopped by hand after {found.stopped_after:,} bias points: of {found.circuits:,} sets of values "
            f"{found.worked_out:,} were worked out; {found.met:,} of these meet all wishes. There may be better ones."
        ]
    lines = [f"{found.circuits:,} sets of values tried; {found.met:,} of them meet all wishes."]
    if early:
        lines.append(f"{early:,} of them were ruled out before every wish was worked out.")
    if unfit:
        lines.append(f"{unfit:,} of them were left out: a part of the drawer is not rated for its voltage or power.")
    if found.unsteady:
        left_out = ", ".join(found.words(place) for place in found.unsteady[:3])
        more = f" and {len(found.unsteady) - 3} more" if len(found.unsteady) > 3 else ""
        lines.append(f"Left out, since the amp oscillates with them at a position wished for: {left_out}{more}.")
    moving = ", ".join(found.moving)
    lines.append(f"Parts that move the bias: {moving}." if moving else "No part here moves the bias.")
    lines.append(
        f"{found.runs:,} simulations by ngspice in all, those of the answers below included: {_check_words(found)}."
    )
    return lines


def _check_words(found: SearchResult) -> str:
    limit = f"{CHECK_DB:.6f} dB"
    if found.difference_db > CHECK_DB:
        away = f"{found.difference_db:.1g} dB"
        return f"they lie up to {away} beside the search, MORE than the limit of {limit}; trust the table alone"
    return f"they agree with the search to less than {limit}"


def _answers(found: SearchResult) -> list[str]:
    if not found.best:
        if found.unsteady:
            return ["No set of values is left: the amp oscillates with those that come nearest."]
        return ["No set of values can be built: no part of the drawer is rated for its place."]
    table = text_table(best_table(found))
    ranked = f"Ranked {RANKING}."
    if found.met:
        return [f"The best {len(found.best)} of {found.met:,}\n{table}\n{ranked}", _occurring(found)]
    near = found.best[0]
    words = f"No set meets all wishes. The nearest miss, {found.words(near.index)}, breaks {miss_words(found, near)}."
    return [words, f"The nearest misses\n{table}\n{ranked}"]


def _occurring(found: SearchResult) -> str:
    """The spread: which values occur among all sets that meet the wishes."""
    table = value_counts(found)
    lines = ["Values that occur among the sets that meet all wishes (in how many sets)"]
    for part, rows in table.groupby("part", sort=False):
        pairs = [f"{value} ({sets:,})" for value, sets in zip(rows["value"], rows["sets"], strict=True)]
        more = f", and {len(pairs) - _MOST_VALUES} more" if len(pairs) > _MOST_VALUES else ""
        lines.append(f"  {part}: {', '.join(pairs[:_MOST_VALUES])}{more}")
    return "\n".join(lines)
