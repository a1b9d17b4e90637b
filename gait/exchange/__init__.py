"""Lists and files from and to others: CSV, ICAR ADE JSON, printed sheets, backup."""
