"""Questions to all runs about what may bend the results."""
