"""How many bakes does an answer take, and what could so many bakes see?"""
