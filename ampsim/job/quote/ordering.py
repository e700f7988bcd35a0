"""Orders as the job keeps them: what was sent to a supplier, and the day it came."""

from __future__ import annotations

import datetime
from dataclasses import replace

from ...base.errors import DescriptionError, nearest, shown
from ..record.billing import Order
from ..record.data import Record
from ..record.reading import check_record
from .choosing import Purchase
from .money import NOTHING, total
from .shop_sheet import ShopSheet


def ordered_parts(record: Record) -> set[str]:
    """Designators of the parts that were ordered, here or not."""
    return {part for order in record.orders for part in order.parts}


def keep_orders(record: Record, purchase: Purchase, shop: ShopSheet, date: datetime.date | None = None) -> Record:
    """The record with what is ordered at each supplier; save it afterwards.

    Parameters
    ----------
    record : Record
    purchase : Purchase
    shop : ShopSheet
        What sending costs, and the currency.
    date : datetime.date
        Of the orders; default today.

    Raises
    ------
    DescriptionError
        When there is nothing to order, or some of it was ordered before.
    """
    if not purchase.orders:
        raise DescriptionError("there is nothing to order: what is needed lies in the drawer or is on no price list")
    before = ordered_parts(record)
    day, new = date or datetime.date.today(), []
    for supplier, lines in purchase.orders.items():
        parts = tuple(part for line in lines for part in line.parts)
        again = sorted(before & set(parts))
        if again:
            raise DescriptionError(f"{', '.join(again)} was ordered already; take that order out of the job first")
        amount = total([*(line.amount for line in lines), shop.shipping.get(supplier, NOTHING)])
        new.append(Order(day, supplier, parts, amount, shop.currency))
    return check_record(replace(record, orders=(*record.orders, *new)))


def take_in_orders(record: Record, supplier: str = "", date: datetime.date | None = None) -> Record:
    """The record with orders that arrived; save it afterwards.

    Parameters
    ----------
    record : Record
    supplier : str
        Whose; "" for all that are on the way.
    date : datetime.date
        When they came; default today.

    Raises
    ------
    DescriptionError
        When none is on the way.
    """
    away = {order.supplier for order in record.orders if order.arrived is None}
    if not away or (supplier and supplier not in away):
        whose = f" from {shown(supplier)}{nearest(supplier, away)}" if supplier else ""
        raise DescriptionError(f"no order{whose} is on the way")
    day = date or datetime.date.today()
    orders = tuple(
        replace(order, arrived=day) if order.arrived is None and supplier in ("", order.supplier) else order
        for order in record.orders
    )
    return check_record(replace(record, orders=orders))
