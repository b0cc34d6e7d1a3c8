"""What is handed over: the rider's page and the printed tags."""
