"""How fast the server answers: a page, and an entry that is saved for good with its panel."""
