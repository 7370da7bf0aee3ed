"""What is known: signs, categories, warnings, steps, medicines, norms and their sources.

Knows the TOML files that a clinician reviews, and the strict loader. Must not know storage or
pages.
"""
