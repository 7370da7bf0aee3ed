"""One exam and its assessment on paper: the text note and the PDF.

Knows how the exam and the assessment are put into words, in what order, and how a page looks. Must
not know storage or the web pages.
"""
