"""How long the reasoning takes, beside the same rules in other engines."""
