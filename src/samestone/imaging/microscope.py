"""Measuring with the microscope: silhouettes, scales, prongs, inscriptions, focus stacks."""
