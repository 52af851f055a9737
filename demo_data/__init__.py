"""The invented kitchen: every number in here was made up by a generator with a known truth."""
