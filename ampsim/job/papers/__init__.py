"""Handing a job over: the record for the shop, the page for the owner, the exercise for apprentices, all on paper."""
