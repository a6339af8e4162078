"""shop"""
