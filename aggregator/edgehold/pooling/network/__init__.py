"""Many arms, many submissions: a network of contrasts and whether it agrees with itself."""
