"""Files, containers and rows as they come out of them."""
