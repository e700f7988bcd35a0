"""One customer's job: the record in a folder, the page for the owner, the papers for the shop.

It imports everything but interface. Begin reading with `record.data`.
"""
