"""concrete"""
