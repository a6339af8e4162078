"""metrology"""
