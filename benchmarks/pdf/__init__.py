"""What the PDF of an exam costs, and what the same content costs elsewhere."""
