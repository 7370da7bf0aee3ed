"""How property tests draw, for every room: the same examples on every run, and no deadline.

`pytest --hypothesis-profile=explore` draws other examples each time, and more of them.
"""

from hypothesis import settings

settings.register_profile("steady", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=2000)
settings.load_profile("steady")
