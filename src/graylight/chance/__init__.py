"""How likely the animals use a pocket: the prior from the habitat, moved by the record; where time is worth most."""
