"""Friendly faces of the wall kernels: material tables, room climate, U-value and the monthly method."""
