"""Exams as flat rows, one column a cell, and everything that rules conclude of them as one query.

Knows how an exam becomes a row, and how SQL answers what conditions ask. The rules themselves come
from the knowledge; the same table can lie in SQLite, PostgreSQL, Parquet files or elsewhere.
"""
