"""What one part of a report says: results in, headings, sentences, pictures and tables out."""
