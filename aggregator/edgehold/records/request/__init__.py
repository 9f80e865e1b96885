"""What only a proposal can break: what it changes, held against the base."""
