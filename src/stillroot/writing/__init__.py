"""What leaves the program as files: pages, tables, and folders that are whole or absent."""
