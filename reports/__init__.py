"""Results in, pictures and pages out."""
