"""What is claimed of safety and security, and the tests that show it.

The claims are data: docs/safety/hazards.toml and docs/security/asvs.toml.
"""
