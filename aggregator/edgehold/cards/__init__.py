"""Short descriptions that fit a post: of a method, of what somebody will do by it, and of what they found."""
