"""How much of what is read is the bake, and how much the measuring? People, pieces and repeat readings."""
