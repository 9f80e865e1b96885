"""From the rows of the path to the input of each method, a pool and endpoint at a time."""
