"""What stones are: measured properties, materials, cuts, weight, solids, metal, care. No number without a source."""

from samestone.gem.property import PROPERTIES, Property, check_values

__all__ = ["PROPERTIES", "Property", "check_values"]
