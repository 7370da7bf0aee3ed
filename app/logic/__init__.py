"""True, false and unknown: truth, expressions, evaluation and its reasons.

Knows what a result rests on and what could change it. Must not know medicine, files or networks.
"""
