"""How much do bake days, loads and assessors differ, and what is left for the treatments? Mixed models by REML."""
