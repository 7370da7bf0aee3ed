"""Measurements that are run by hand: they know the reasoning, and nothing in app/ knows them."""
