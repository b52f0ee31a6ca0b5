"""What can be seen: exact on the grid, and honest about the grid."""
