"""Pictures: a response in, a matplotlib figure with a text alternative out; nothing here simulates.

Every picture comes as three functions: `overlay_picture` draws, `overlay_curves` gives the points of everything in it
that moves when a control moves (by the `gid` the artist carries), `describe_overlay` says the same in words. So a live
view can draw once and from then on only replace points: `move`.

It imports base, simulation and measures. Begin reading with `overlay`.
"""
