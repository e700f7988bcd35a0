"""Which switch does what a description asks: pieces of wire, poles and throws, and how its lever moves."""
