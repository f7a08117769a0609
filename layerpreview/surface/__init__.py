"""The object: outline and openings in millimetres, distance to edges, the base from a photo or from relief.

Import from the modules; nothing is imported here, so that what is not used is not loaded.
"""
