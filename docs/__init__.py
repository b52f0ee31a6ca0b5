"""Pages, and the program that writes some of them."""
