"""Two app servers behind nginx on one PostgreSQL, and the two-person exam across them.

What stands here is run by script/cluster, and in a short form by the tests.
"""
