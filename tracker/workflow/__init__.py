"""One module per thing a baker does: plain functions shared by every way in."""
