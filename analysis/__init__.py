"""Pure computation: frames and numbers in, frozen results out."""
