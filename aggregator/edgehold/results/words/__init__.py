"""What is published, in plain English: sentences about numbers, answers and months."""
