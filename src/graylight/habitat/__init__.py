"""Where animals feed, bed and cross, and the pockets these make."""
