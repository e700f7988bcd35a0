"""Is it brighter at equal loudness, by how much, and which edit makes it so?"""
