"""Files in and out: tables, streams, spreadsheets."""
