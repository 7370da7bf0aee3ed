"""How the tables came to be, step by step. A step that was released never changes."""
