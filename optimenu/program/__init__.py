"""The neutral integer program: whole-number coefficients, every row labelled, no solver in sight."""
