"""A round as it was tapped: what of it can be used, and which mode is which."""
