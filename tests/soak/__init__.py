"""A server and its database killed again and again under people at work, and what was kept.

What stands here is run by script/soak, and in a short form by the tests.
"""
