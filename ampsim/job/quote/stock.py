"""What a job took from the shop's drawer, counted off the stock of its price lists: told first, done on request, once.

The list stays as it was but for the cells of its stock: signs, order of columns, line ends and code are those that it
had. A copy of the list as it was is kept beside it.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ...base.errors import DescriptionError
from ...base.files import file_word, lock_folder, printable, read_bounded, write_whole
from ...base.tables import text_of_rows
from ...work.steps.step import Step
from ..record.billing import CountedOff
from ..record.data import Record
from ..record.reading import check_record
from ..record.saving import update_record
from ..record.sessions import sessions_of
from .choosing import Purchase
from .invoice import agreed_quote, has_quote
from .ordering import ordered_parts
from .price_list import MOST_BYTES, find_cell, parse_price_list
from .price_rows import Offer, PriceList


@dataclass(frozen=True)
class ReadList:
    """A price list with the bytes that it was read from."""

    path: Path
    data: bytes
    prices: PriceList


@dataclass(frozen=True)
class Taking:
    """Parts of a job that came out of the drawer: of which offer, in which list."""

    offer: Offer
    parts: tuple[str, ...]
    found_in: ReadList

    @property
    def left(self) -> int:
        """How many lie in the drawer without them."""
        return self.offer.stock - len(self.parts)

    @property
    def words(self) -> str:
        """What was taken: supplier, order number, and what it is."""
        return " ".join(filter(None, (self.offer.where_from, self.offer.words)))


@dataclass(frozen=True)
class Counting:
    """What is to be counted off, and which parts are not, each with the reason."""

    takings: tuple[Taking, ...]
    others: Mapping[str, str]

    def text(self) -> str:
        """What would change, a row to each offer, and what would not."""
        rows = [
            (printable(each.found_in.path.name), str(each.offer.row), each.words, ", ".join(each.parts),
             str(each.offer.stock), str(each.left))
            for each in self.takings
        ]  # fmt: skip
        head = ("list", "row", "offer", "for", "in the drawer", "then left")
        told = [text_of_rows(head, rows)] if rows else ["Nothing is to be counted off."]
        for reason in dict.fromkeys(self.others.values()):
            parts = ", ".join(part for part, each in self.others.items() if each == reason)
            told.append(f"Not counted: {parts}: {reason}")
        return "\n".join(told)


def read_list(path: str | Path) -> ReadList:
    """A price list, with its bytes.

    Raises
    ------
    DescriptionError
        As `read_price_list`.
    """
    file = Path(path)
    data = read_bounded(file, MOST_BYTES)
    return ReadList(file, data, parse_price_list(data, printable(file.name), file.stem))


def as_one(lists: Sequence[ReadList]) -> PriceList:
    """Several lists as one; their offers are the same objects."""
    kinds = dict.fromkeys(kind for each in lists for kind in each.prices.offers)
    return PriceList({kind: tuple(o for each in lists for o in each.prices.offers.get(kind, ())) for kind in kinds})


def counting(record: Record, steps: Sequence[Step], purchase: Purchase, lists: Sequence[ReadList]) -> Counting:
    """What a job took from the drawer: parts that are fitted, were not bought for it, and not counted off before.

    Parameters
    ----------
    record : Record
    steps : sequence of Step
        Of its plan; a part is fitted when every step that puts it in is ticked off.
    purchase : Purchase
        What is taken of the lists for its parts.
    lists : sequence of ReadList
    """
    others: dict[str, str] = {}
    takings = []
    unfitted, counted = _unfitted(record, steps), {part for each in record.counted for part in each.parts}
    bought = ordered_parts(record) | (set(agreed_quote(record).to_buy) if has_quote(record) else set())
    for taken in purchase.taken:
        reasons = {
            part: "counted off before" if part in counted
            else "bought, or to be bought" if taken.buy or part in bought
            else "in the job's own drawer" if taken.need.at_hand
            else "not ticked off as fitted" if unfitted(part)
            else ""
            for part in taken.parts
        }  # fmt: skip
        others |= {part: reason for part, reason in reasons.items() if reason}
        parts = tuple(part for part, reason in reasons.items() if not reason)
        if parts:
            takings.append(Taking(taken.fit.offer, parts, _list_of(taken.fit.offer, lists)))
    others |= {part: "on no price list" for need, _ in purchase.without for part in need.parts if part not in counted}
    return Counting(tuple(_by_offer(takings)), others)


def _unfitted(record: Record, steps: Sequence[Step]) -> Callable[[str], bool]:
    """Whether a step that puts a part in is left; of a part that no step names, such as one on a pot, any such step."""
    stand = [(step, done) for step, done in zip(steps, sessions_of(record, steps), strict=True) if step.parts]
    left = {part for step, done in stand if done is None for part in step.parts}
    named = {part for step, _ in stand for part in step.parts}
    return lambda part: part in left if part in named else bool(left) or not named


def _list_of(offer: Offer, lists: Sequence[ReadList]) -> ReadList:
    return next(
        each for each in lists if any(offer is other for every in each.prices.offers.values() for other in every)
    )


def _by_offer(takings: Sequence[Taking]) -> Iterator[Taking]:
    """One to each offer."""
    for offer in {id(each.offer): each.offer for each in takings}.values():
        mine = [each for each in takings if each.offer is offer]
        yield replace(mine[0], parts=tuple(part for each in mine for part in each.parts))


def count_off(folder: str | Path, told: Counting, date: datetime.date | None = None) -> list[Path]:
    """Write the stock that is left into the lists, and into the job what was taken.

    Parameters
    ----------
    folder : str or Path
        The job's folder.
    told : Counting
        As it was shown; a list that somebody wrote to since is refused.
    date : datetime.date
        Default today.

    Returns
    -------
    list of Path
        The copies of the lists as they were.

    Raises
    ------
    DescriptionError
        When a list or the job was changed meanwhile, or nothing can be written; what was written then is put back.
    """
    paths = dict.fromkeys(each.found_in.path for each in told.takings)
    mine = ([each for each in told.takings if each.found_in.path == path] for path in paths)
    return [_count_off_list(folder, each, date or datetime.date.today()) for each in mine]


def _count_off_list(folder: str | Path, takings: Sequence[Taking], day: datetime.date) -> Path:
    """Count off what came of one list, and give the copy of it."""
    source = takings[0].found_in
    path, name = source.path, printable(source.path.name)
    changed = with_stock(source, {each.offer.row: each.left for each in takings})
    rows = tuple(CountedOff(day, each.words, each.parts, name) for each in takings)
    with lock_folder(path.parent):
        if read_bounded(path, MOST_BYTES) != source.data:
            raise DescriptionError(f"{name}: somebody wrote to it meanwhile; look again what is taken")
        kept = _keep_copy(path, source.data, day)
        # The job says it first: if this is cut off here, too much stock is told, and nothing is counted twice.
        update_record(folder, lambda now: _with_rows(now, rows))
        try:
            write_whole(path, changed)
        except BaseException:
            update_record(folder, lambda now: replace(now, counted=tuple(r for r in now.counted if r not in rows)))
            raise
    return kept


def _with_rows(record: Record, rows: Sequence[CountedOff]) -> Record:
    before = {part for each in record.counted for part in each.parts}
    again = sorted(before & {part for row in rows for part in row.parts})
    if again:
        raise DescriptionError(f"{', '.join(again)}: counted off already")
    return check_record(replace(record, counted=(*record.counted, *rows)))


def _keep_copy(path: Path, data: bytes, day: datetime.date) -> Path:
    number = 1
    while True:
        name = f"{file_word(path.stem)} before {day}{f' {number}' if number > 1 else ''}{path.suffix}"
        kept = path.with_name(name)
        if not kept.exists():
            return write_whole(kept, data)
        number += 1


def with_stock(source: ReadList, left: Mapping[int, int]) -> bytes:
    """The bytes of a list with other numbers in the stock of some rows; nothing else of it changes.

    Parameters
    ----------
    source : ReadList
    left : mapping
        To the number of a row how many pieces are left.

    Raises
    ------
    DescriptionError
        For a row that holds a line end, or cannot be written so that it reads back as meant.
    """
    data, name = source.data, printable(source.path.name)
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    # Bytes as they are: of UTF-8 and Windows-1252 the signs that part cells and digits are one byte each.
    code = ("utf-16-le" if data[:1] == b"\xff" else "utf-16-be") if wide else "latin-1"
    lines = data.decode(code).split("\n")
    for row, count in left.items():
        begin, end = find_cell(source.data, name, lines[row - 1], "stock")
        lines[row - 1] = f"{lines[row - 1][:begin]}{count}{lines[row - 1][end:]}"
    changed = "\n".join(lines).encode(code)
    before, after = (_plain_rows(each, name, source.path.stem) for each in (data, changed))
    meant = {row: replace(offer, stock=left.get(row, offer.stock)) for row, offer in before.items()}
    if repr(after) != repr(meant):  # NaN is not equal to itself
        raise DescriptionError(f"{name}: its rows cannot be changed safely; count the parts off by hand")
    return changed


def _plain_rows(data: bytes, name: str, supplier: str) -> dict[int, Offer]:
    offers = parse_price_list(data, name, supplier).offers
    return {offer.row: offer for kind in sorted(offers) for offer in offers[kind]}
