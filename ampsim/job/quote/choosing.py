"""Which offers are taken for what is needed: what lies in the drawer first, then the cheapest whole of suppliers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import combinations

from ...base.wording import join_words
from .matching import Candidates, Fit
from .money import NOTHING, money, over, times, to_places, total
from .needs import Need
from .price_rows import Offer
from .shop_sheet import ShopSheet

_ALL_WAYS = 8  # suppliers of which every choice is tried; of more only few together
_FEW = 2
_SHOWN = 3


@dataclass(frozen=True)
class Taken:
    """Parts of one need from one offer, from the drawer or to be bought, and what else would serve."""

    need: Need
    fit: Fit
    parts: tuple[str, ...]
    buy: bool
    others: tuple[Fit, ...] = ()

    @property
    def count(self) -> int:
        """How many they are."""
        return len(self.parts)


_Wanted = tuple[Candidates, tuple[str, ...]]
_Best = dict[str, tuple[tuple[Decimal, int, int, Decimal, str, str], Fit]]


@dataclass(frozen=True)
class OrderLine:
    """One order number: for which parts, how many are needed, how many must be bought, and what that costs."""

    offer: Offer
    parts: tuple[str, ...]
    needed: int
    count: int
    amount: Decimal
    note: str = ""

    @property
    def left(self) -> int:
        """How many are left over."""
        return self.count - self.needed


@dataclass(frozen=True)
class Purchase:
    """What is taken for all needs.

    `orders` has the lines by supplier; `without` the needs that have no offer, each with the reason. `why` says how
    the suppliers were chosen.
    """

    taken: tuple[Taken, ...]
    orders: Mapping[str, tuple[OrderLine, ...]] = field(default_factory=dict)
    without: tuple[tuple[Need, str], ...] = ()
    why: tuple[str, ...] = ()


def choose(found: Sequence[Candidates], shop: ShopSheet) -> Purchase:
    """Choose what is taken for each need.

    Parts that lie in the drawer come first. Of the rest every choice of suppliers that has all of them is tried (of
    more than eight at most two together, or all), each part where it is cheapest among them, with minimum quantities,
    packs and what sending costs.
    """
    usable = [_priced(each, shop) for each in found]
    taken, rest = _from_drawer(usable)
    without = tuple((each.need, _reason(each)) for each in usable if not each.fits)
    wanted = [(each, parts) for each, parts in rest if each.fits]
    bought, why = _cheapest(wanted, shop)
    orders: dict[str, list[OrderLine]] = {}
    for line in _order_lines(bought, shop):
        orders.setdefault(line.offer.supplier, []).append(line)
    order = {id(each.need): place for place, each in enumerate(usable)}
    both = sorted([*taken, *bought], key=lambda each: order[id(each.need)])
    return Purchase(tuple(both), {name: tuple(orders[name]) for name in sorted(orders)}, without, why)


def unit_price(offer: Offer, shop: ShopSheet) -> Decimal:
    """What `offer.per` pieces cost in the shop's currency, exactly."""
    price = offer.price if offer.price is not None else NOTHING
    foreign = offer.currency not in ("", shop.currency.upper())
    return times(price, shop.exchange[offer.currency]) if foreign else price


def order_count(offer: Offer, needed: int) -> int:
    """How many pieces must be bought: at least the minimum, in whole packs."""
    return -(-max(needed, offer.minimum) // offer.pack) * offer.pack if needed else 0


def _priced(found: Candidates, shop: ShopSheet) -> Candidates:
    """Without the offers in a currency that nobody said the worth of."""
    known = {"", shop.currency.upper(), *shop.exchange}
    foreign = [each for each in found.fits if each.offer.currency not in known]
    if not foreign:
        return found
    told = tuple(f"{each.offer.where_from}: in {each.offer.currency}, of which the sheet does not say the worth "
                 f"([exchange])" for each in foreign[:_SHOWN])  # fmt: skip
    fits = tuple(each for each in found.fits if each.offer.currency in known)
    return replace(found, fits=fits, refused=(*told, *found.refused))


def _reason(found: Candidates) -> str:
    told = "; ".join(found.refused) or "nothing like it is on the price list"
    return f"{found.need.at_hand}, without a price" if found.need.at_hand else told


def _from_drawer(found: Sequence[Candidates]) -> tuple[list[Taken], list[_Wanted]]:
    """What the drawer gives, and which parts of each need are still to be bought."""
    left: dict[int, int] = {}
    taken: list[Taken] = []
    rest: list[_Wanted] = []
    for each in found:
        missing = each.need.parts
        if each.need.at_hand and each.fits:
            best = min(each.fits, key=_preference)
            taken.append(Taken(each.need, best, missing, buy=False))
            continue
        for fit in sorted((fit for fit in each.fits if fit.offer.stock), key=_preference):
            there = left.setdefault(id(fit.offer), fit.offer.stock)
            some, missing = missing[:there], missing[there:]
            left[id(fit.offer)] -= len(some)
            if some:
                taken.append(Taken(each.need, fit, some, False, _others(each, fit)))
        if missing:
            rest.append((each, missing))
    return taken, rest


def _preference(fit: Fit) -> tuple[int, int, Decimal, str, str]:
    """Nothing to check before what must be checked, just what was asked before more than that, cheap before dear."""
    price = over(fit.offer.price or NOTHING, Decimal(fit.offer.per))
    return len(fit.check), len(fit.more), price, fit.offer.supplier, fit.offer.number


def _others(found: Candidates, chosen: Fit) -> tuple[Fit, ...]:
    return tuple(sorted((each for each in found.fits if each is not chosen), key=_preference)[:_SHOWN])


def _surest(found: Candidates) -> list[Fit]:
    """What needs no check where there is such."""
    least = min(len(fit.check) for fit in found.fits)
    return [fit for fit in found.fits if len(fit.check) == least]


def _cheapest(wanted: Sequence[_Wanted], shop: ShopSheet) -> tuple[list[Taken], tuple[str, ...]]:
    """The choice of suppliers that costs least for the whole, and how it was found."""
    if not wanted:
        return [], ()
    best = [_best_at(each, len(parts), shop) for each, parts in wanted]
    names = sorted({name for each in best for name in each})
    ways = [(group, bought, _cost(bought, shop)) for group in _groups(names)
            if (bought := _bought_at(wanted, best, group)) is not None]  # fmt: skip
    _, bought, cost = min(ways, key=lambda way: (way[2], len(way[0]), way[0]))
    used = tuple(sorted({each.fit.offer.supplier for each in bought}))

    def said(amount: Decimal) -> str:
        return money(amount, shop.currency, shop.places, shop.comma)

    why = [f"Bought at {join_words([name or 'the list' for name in used])} for {said(cost)} in all, sending included."]
    alone = [(spent, at[0]) for at, _, spent in ways if len(at) == 1 and at != used]
    if alone:
        spent, name = min(alone)
        why.append(f"All of it at {name} would be {said(spent)}.")
    elif len(names) > 1 and not any(len(at) == 1 for at, _, _ in ways):
        why.append("No supplier alone has all of it.")
    apart = next(((spent, got) for at, got, spent in ways if at == tuple(names)), None)
    if apart and len(names) > 1 and apart[0] != cost:
        why.append(f"Each part where it alone is cheapest would be {said(apart[0])}.")
    return bought, tuple(why)


def _groups(names: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """Choices of suppliers, fewest first."""
    most = len(names) if len(names) <= _ALL_WAYS else _FEW
    for size in range(1, most + 1):
        yield from combinations(names, size)
    if most < len(names):
        yield tuple(names)


def _bought_at(wanted: Sequence[_Wanted], best: Sequence[_Best], names: Sequence[str]) -> list[Taken] | None:
    """Each need where it is cheapest among these suppliers; None where they do not have all."""
    found = []
    for (each, parts), at_each in zip(wanted, best, strict=True):
        ranked = [at_each[name] for name in names if name in at_each]
        if not ranked:
            return None
        fit = min(ranked, key=lambda one: one[0])[1]
        found.append(Taken(each.need, fit, parts, True, _others(each, fit)))
    return found


def _best_at(found: Candidates, count: int, shop: ShopSheet) -> _Best:
    """What serves best at each supplier, and how it ranks."""
    best: _Best = {}
    for fit in _surest(found):
        rank = (_spent(fit.offer, count, shop), *_preference(fit))
        name = fit.offer.supplier
        if name not in best or rank < best[name][0]:
            best[name] = (rank, fit)
    return best


def _spent(offer: Offer, needed: int, shop: ShopSheet) -> Decimal:
    """What it costs to buy so many, packs and all."""
    exact = over(times(Decimal(order_count(offer, needed)), unit_price(offer, shop)), Decimal(offer.per))
    return to_places(exact, shop.places)


def _order_lines(bought: Sequence[Taken], shop: ShopSheet) -> list[OrderLine]:
    """One line to each order number."""
    by_offer: dict[int, list[Taken]] = {}
    for each in bought:
        by_offer.setdefault(id(each.fit.offer), []).append(each)
    lines = []
    for group in by_offer.values():
        offer, needed = group[0].fit.offer, sum(each.count for each in group)
        parts = tuple(part for each in group for part in each.parts)
        notes = dict.fromkeys(each.fit.note for each in group if each.fit.note)
        count = order_count(offer, needed)
        lines.append(OrderLine(offer, parts, needed, count, _spent(offer, needed, shop), "; ".join(notes)))
    return lines


def _cost(bought: Sequence[Taken], shop: ShopSheet) -> Decimal:
    lines = _order_lines(bought, shop)
    names = {line.offer.supplier for line in lines}
    sending = [shop.shipping[name] for name in sorted(names) if name in shop.shipping]
    return total([*(line.amount for line in lines), *sending])
