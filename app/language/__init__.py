"""The language in which people are spoken to.

Knows the message catalogues, and how dates and numbers are written. Must not know medicine, storage
or pages. docs/decisions/0029 says why it is built so.
"""
