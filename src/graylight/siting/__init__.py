"""Where to sit: lookouts from every cell that can be sat on, singly and as the best set of k."""
