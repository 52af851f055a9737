"""The same report for other readers: paper as a file, single pictures, tables for a spreadsheet."""
