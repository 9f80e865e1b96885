"""From what the stages found to the published models, and the files that hold them."""
