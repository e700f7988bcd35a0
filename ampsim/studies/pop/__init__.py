"""What the loudspeaker gets when a switch moves."""

TITLE = "pop of a switch"
