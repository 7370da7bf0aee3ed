"""From one exam and the knowledge to an assessment: pure, the same bytes for the same input.

Knows how signs are put together into categories, warnings and next steps, each with its reasons.
Must not know storage or pages.
"""
