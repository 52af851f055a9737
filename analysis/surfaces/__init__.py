"""What shape has the response over several amounts, and where is it best? (see ``family``)"""
