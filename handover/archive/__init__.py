"""archive"""
