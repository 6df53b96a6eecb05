"""Hydrology on plain NumPy arrays: no frames, no files, no geometry. Raises ``ValueError``."""
