"""Where everything is kept: one SQLite file (`sqlite.SqliteStore`), its backup and its restore."""
