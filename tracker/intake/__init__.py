"""Plan files, spreadsheets, amounts and numbers as people type them: read, check, preview."""
