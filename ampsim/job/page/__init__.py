"""The page to hand over: one HTML file that shows an amp's owner what the mods do, with no network and no Python."""
