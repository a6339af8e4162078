"""simulate"""
