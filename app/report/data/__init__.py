"""Signed exams as tables for an analyst, with a dictionary of every column.

Knows the signed content as it was signed; knows no database, and never who asked.
"""
