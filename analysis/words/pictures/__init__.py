"""What do pictures say: alt texts, captions, names of axes, headings of the tables beside them?"""
