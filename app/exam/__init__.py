"""One bedside motor exam as a value.

Knows the vocabulary (stations, findings, scales, sides), how an exam is read and checked, and the
arithmetic of timed tests. Must not know rules, storage or pages.
"""
