"""How much gas, what is left over, and where the pH lands: the acid-base account of a formula."""
