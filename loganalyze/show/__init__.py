"""What people see: sentences, results on disk, and figures."""
