"""All runs at once by restricted likelihood: steels fixed, people and blades random."""
