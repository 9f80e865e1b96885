"""What is published, as pydantic models, and how its numbers are rounded."""
