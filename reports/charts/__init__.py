"""Charts: pure functions, rows in, chart out. No query, no file; the rows travel beside the chart under their key."""
