"""The pages: routes, the dataclass that each template may read, forms and their faults.

Knows HTTP, HTML and what a person sees. Must not know SQL, or decide anything about medicine.
"""
