"""The quantities that a flight manual limits: a file each, and their registry.

Public, to add a kind of limit: `limited_quantity` and `quantity_registry`.
"""
