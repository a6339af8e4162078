"""custody"""
