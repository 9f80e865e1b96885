"""What is published, as pydantic models: nothing here computes."""
