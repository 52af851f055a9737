"""Is the bakery still baking what it promised, batch by batch?"""
