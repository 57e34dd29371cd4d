"""What people decide of cases: tables, transactions, the trail, backup."""
