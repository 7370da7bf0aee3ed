"""How many keys, taps and pointer moves an exam takes, and how long hands need for them.

`python -m benchmarks.hands` serves the demonstration clinic, works the real pages in Chromium, and
turns what it counted into seconds with the published keystroke-level model. Its last line is one
JSON object. The counts are also a test (tests/web/test_hands.py); the seconds never are.
"""
