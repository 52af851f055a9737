"""What is served on the tablets of the kitchen?"""
