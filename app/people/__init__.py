"""People: passwords, tokens, the second factor, time limits, and who may do what.

Knows how somebody proves who they are, how long that holds, and the one table of what each role may
do. Must not know pages, requests, or the rows in which accounts are kept: values come in, an answer
goes out.
"""
