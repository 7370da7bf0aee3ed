"""Evenhand: record a bedside motor exam, see what it adds up to, keep it unchanged."""
