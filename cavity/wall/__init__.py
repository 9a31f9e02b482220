"""Python interface of the wall: material tables, grid, room climate, U-value and the monthly method."""
