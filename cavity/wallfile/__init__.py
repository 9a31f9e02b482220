"""The wall file: schema, reader, table of materials, starter.

Public names: `read_wall`, `parse_wall`, `read_rules`, `material`, `materials`, `starter`, `starters`, `write_starter`.
"""

from cavity.wallfile.materials import material, material_names, materials
from cavity.wallfile.reader import parse_wall, read_rules, read_wall
from cavity.wallfile.starter import starter, starters, write_starter

__all__ = [
    "material",
    "material_names",
    "materials",
    "parse_wall",
    "read_rules",
    "read_wall",
    "starter",
    "starters",
    "write_starter",
]
