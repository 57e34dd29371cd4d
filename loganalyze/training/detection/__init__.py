"""How exercises are found: candidates by their signature, and how sure each is."""
