"""One customer's job: the record in a folder, the page for the owner, the papers for the shop.

Imports everything but interface. Begin with `record.data`.
"""
