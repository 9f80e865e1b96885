"""All readings at once: dulling curves, and pairs of them along the work."""
