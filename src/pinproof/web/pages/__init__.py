"""One module for each page: its result, what its template needs, its actions. Sums are the engines'."""
