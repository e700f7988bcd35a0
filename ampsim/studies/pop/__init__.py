"""What the loudspeaker gets when a switch moves."""
