"""weather"""
