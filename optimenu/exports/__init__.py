"""What leaves the program: tables, run folders, JSON."""
