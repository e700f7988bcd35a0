"""What a player notices besides tone, position by position: how early it breaks up, how it evens out, hiss, pops.

Begin reading with `play`; `drive` carries what was played at one place of the knobs to any other.
"""
