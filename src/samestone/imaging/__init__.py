"""imaging"""
