"""Arrows on the photos of a job: placed on a page of their own or in a notebook, kept as data, drawn over the photo."""
