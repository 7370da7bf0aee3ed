"""Patients, exams and their entries in a database that keeps them.

Knows the tables, their migrations, the transactions and the rules of writing: entries are only
ever added, a write names the revision that it saw, and all of a write is kept or none of it. Must
not know pages, reports or what the findings add up to. Everything handed out is a frozen value,
never a row.
"""
