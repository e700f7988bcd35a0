"""An amp played in time: a signal through the whole circuit as described, faster than it lasts. Begin with `solver`."""
