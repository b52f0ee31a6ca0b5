"""How likely the animals use a pocket: the prior from the habitat; the record will move it."""
