"""How a heated holder cools: from its outline to what is known of its temperature, and what to probe next."""
