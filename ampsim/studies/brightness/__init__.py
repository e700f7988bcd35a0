"""Whether a position is brighter at equal loudness, by how much, and which edit makes it so."""
