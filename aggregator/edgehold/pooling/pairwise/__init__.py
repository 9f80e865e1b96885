"""Two arms, many submissions: random-effects meta-analysis of contrasts and what is asked of its studies."""
