"""How rafts get from the bank to their places: free water, shortest ways, and the order."""
