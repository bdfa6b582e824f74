"""Which cows and farms to see next, and what a visit found."""
